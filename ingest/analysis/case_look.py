"""How the cases of a module stand now: all of them, the open one, and what to ask about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final, Protocol

from firmware_sim.contract.channels import MODE_STANDBY
from ingest.analysis.cases import GOES_ON, KIND, Case, Question, cases, open_case, questions

# A store whose newest record is older is read as finished.
FRESH_MS: Final = 12 * 3_600_000


class Store(Protocol):
    """What is asked of a store's reader; rows as it returns them."""

    def latest(self, module: int) -> Any:
        """Return the newest trend, None before the first."""

    def marks(self, module: int | None = ..., *, kind: str | None = ...) -> Sequence[Any]:
        """Return marks by time."""

    def mark_history(self, mark: int) -> Sequence[Any]:
        """Return every version of a mark, oldest first."""

    def bands(self, module: int, start: int, end: int, column: str) -> Sequence[Any]:
        """Return the stretches of one code."""

    def last_breath(self, module: int) -> int | None:
        """Return when the newest breath was recorded, None: none ever."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OldLabel:
    """Hold what a case was called before ('': nothing), until when (UTC ms), and who changed it."""

    label: str
    until_ms: int
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseLook:
    """Hold all cases by start, the open one (None: none), and the questions about it.

    `old_labels`: by number of the case, oldest first; only where a label was corrected.
    """

    cases: tuple[Case, ...]
    open: Case | None
    questions: tuple[Question, ...]
    old_labels: Mapping[int, tuple[OldLabel, ...]]


def case_look(store: Store, module: int, now_ms: int) -> CaseLook:
    """Return how the cases of a module stand at `now_ms` (UTC ms)."""
    found = cases(store.marks(module, kind=KIND))
    old = {one.number: _old_labels(store.mark_history(one.mark)) for one in found if one.renamed}
    case = open_case(found)
    if case is None:
        return CaseLook(cases=found, open=None, questions=(), old_labels=old)
    latest = store.latest(module)
    said = [mark.utc for mark in store.marks(module, kind=GOES_ON)]
    asked = questions(
        case,
        now_ms=now_ms,
        last_breath_ms=store.last_breath(module),
        last_trend_ms=None if latest is None else latest.t,
        standby_since_ms=_standby_since(store, module, case, latest),
        goes_on_ms=max(said, default=None),
    )
    return CaseLook(cases=found, open=case, questions=asked, old_labels=old)


def _old_labels(versions: Sequence[Any]) -> tuple[OldLabel, ...]:
    return tuple(
        OldLabel(label=before.text, until_ms=after.recorded, by=after.author)
        for before, after in pairwise(versions)
        if before.text != after.text
    )


def _standby_since(store: Store, module: int, case: Case, latest: Any) -> int | None:
    if latest is None or latest.codes["mode"] != MODE_STANDBY:
        return None
    since: int = latest.t
    for band in sorted(store.bands(module, case.start, latest.t + 1, "mode"), key=lambda one: -one.start):
        if band.code != MODE_STANDBY:
            break
        since = band.start
    return since


def case_span(store: Store, case: Case, now_ms: int) -> tuple[int, int]:
    """Return start and end of a case; an open one of an old store ends with its newest record."""
    if case.end is not None:
        return case.start, case.end
    latest = store.latest(case.module)
    newest = case.start if latest is None else latest.t
    end = now_ms if now_ms - newest < FRESH_MS else newest
    return case.start, max(end, case.start + 1000)
