"""A site's own first actions for each alarm, from its file: approved there, shown beside the alarm.

Nothing is shipped: what to do at a bed is for those who answer for it. Pure: text in, rows out.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType
from typing import Any, Final

from firmware_sim.contract.alarms import ROWS
from ingest.errors import UserError

FORMAT: Final = "nightkeel site 1"
LANGUAGES: Final = ("en", "fr")
TOP: Final = ("format", "approved_by", "approved_on", "first_actions")
# Five lines of 120 letters are read in seconds; more are no first actions.
LINES_MAX, LETTERS_MAX, BYTES_MAX = 5, 120, 200_000

EXAMPLE: Final = """\
# First actions of this site, shown beside the alarm on the page Now.
#
# Nothing is shipped here: write what those who answer for these beds have approved, and nothing else.
# Check the file with:  nightkeel site check FILE
# Show it with:         nightkeel dashboard --store night.db --site FILE

format = "nightkeel site 1"

# Who approved it, and on which day. Both are shown with every action.
approved_by = ""
approved_on = 2000-01-01

# One table for each alarm, by its name in the table of alarms (hardware_notes/alarms.md); up to five lines of
# 120 letters for each language, en and fr. A language that is left out is shown in the other.
#
# [first_actions.NAME_OF_THE_ALARM]
# en = ["first line", "second line"]
# fr = ["première ligne"]
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstActions:
    """Hold who approved them and when, and {alarm: {language: lines}}."""

    approved_by: str
    approved_on: date
    rows: Mapping[str, Mapping[str, tuple[str, ...]]]

    def lines(self, alarm: str, language: str) -> tuple[str, ...]:
        """Return the actions for an alarm in a language, in the other one where it is left out, else none."""
        mine = self.rows.get(alarm, {})
        return mine.get(language) or next(iter(mine.values()), ())


def first_actions(text: str, name: str) -> FirstActions:
    """Read a site file; raise UserError with one sentence for the first fault. `name` is what to call it."""
    if len(text.encode("utf-8")) > BYTES_MAX:
        raise UserError(f"{name} is larger than {BYTES_MAX} bytes; that is no site file.")
    try:
        content = tomllib.loads(text)
    except ValueError as error:
        raise UserError(f"{name} is not TOML: {error}.") from None
    _known(name, "", content, TOP)
    if content.get("format") != FORMAT:
        raise UserError(f'{name} is no site file; it must say format = "{FORMAT}".')
    by, on = content.get("approved_by"), content.get("approved_on")
    if not isinstance(by, str) or not by.strip() or len(by) > LETTERS_MAX:
        raise UserError(f"{name}: approved_by must name who approved it; nothing unapproved is shown.")
    if not isinstance(on, date):
        raise UserError(f"{name}: approved_on must be the day of approval, such as 2026-01-31.")
    rows = content.get("first_actions", {})
    if not isinstance(rows, dict):
        raise UserError(f"{name}: first_actions must be tables such as [first_actions.disconnected].")
    _known(name, "first_actions.", rows, tuple(row.name for row in ROWS))
    read = {alarm: _row(f"{name}: first_actions.{alarm}", row) for alarm, row in rows.items()}
    return FirstActions(approved_by=by.strip(), approved_on=on, rows=MappingProxyType(read))


def _known(name: str, place: str, found: Mapping[str, Any], known: tuple[str, ...]) -> None:
    for key in found:
        if key not in known:
            near = difflib.get_close_matches(key, known, 1)
            hint = f"did you mean {near[0]}?" if near else f"known are {', '.join(known[:6])} ..."
            raise UserError(f"{name}: {place}{key} is not known; {hint}")


def _row(place: str, row: object) -> Mapping[str, tuple[str, ...]]:
    if not isinstance(row, dict) or not row:
        raise UserError(f'{place} needs a language, such as en = ["..."].')
    _known(place, "", row, LANGUAGES)
    for language, lines in row.items():
        sound = isinstance(lines, list) and all(
            isinstance(one, str) and 0 < len(one.strip()) <= LETTERS_MAX for one in lines
        )
        if not sound or not 0 < len(lines) <= LINES_MAX:
            raise UserError(
                f"{place}.{language} must be one to {LINES_MAX} lines of at most {LETTERS_MAX} letters."
            )
    return MappingProxyType({key: tuple(one.strip() for one in lines) for key, lines in row.items()})
