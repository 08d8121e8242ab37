"""Which marks are notes to be read, and which are kept and changed by a page of their own."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, TypeVar

from ingest.analysis.cases import GOES_ON
from ingest.analysis.cases import KIND as CASE
from ingest.analysis.guided.table import KIND as CHECK
from ingest.analysis.hand import KIND as HAND
from ingest.analysis.reserves.entries import KIND as RESERVE
from ingest.analysis.upkeep import KIND as UPKEEP
from ingest.analysis.written import Written

# Changing one of these as a note would take its meaning away.
KEPT_ELSEWHERE: Final = frozenset((CASE, GOES_ON, HAND, RESERVE, CHECK, UPKEEP))

OneMark = TypeVar("OneMark", bound=Written)


def notes(marks: Iterable[OneMark]) -> list[OneMark]:
    """Return the marks that were written to be read, in their order."""
    return [mark for mark in marks if mark.kind not in KEPT_ELSEWHERE]
