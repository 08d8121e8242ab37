"""What a person writes on a page as a mark, and the times that they type."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from dashboard.formats import local
from ingest.marks import add_mark, change_mark, remove_mark

# What a mark written here may be called; other parts of the store may hold marks of other kinds.
KINDS = ("note", "suction", "moved", "tube_changed", "equipment", "drug")
CLOCK = re.compile(r"\s*(\d{1,2})[:.h](\d{2})(?:[:.](\d{2}))?\s*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """Hold what a person wrote: UTC ms, kind, initials, text.

    `data`: what it holds besides text, else None; `utc_end`: where it speaks of a stretch of time, else None.
    """

    utc: int
    kind: str
    author: str
    text: str
    data: Mapping[str, object] | None = None
    utc_end: int | None = None


def time_in_night(written: str, start: int, end: int, zone: ZoneInfo) -> int | None:
    """Return the UTC ms inside [start, end) that a clock of the zone shows so; None when there is none.

    Where the clock is put back and a time comes twice, the first is meant.
    """
    found = CLOCK.fullmatch(written)
    if found is None:
        return None
    hour, minute, second = (int(part or 0) for part in found.groups())
    if hour > 23 or minute > 59 or second > 59:
        return None
    day = local(start, zone).date()
    for step in range(3):
        at = day + timedelta(days=step)
        moment = datetime(at.year, at.month, at.day, hour, minute, second, tzinfo=zone)
        utc = round(moment.timestamp() * 1000)
        # A time that the clock skips comes back as another one.
        if start <= utc < end and local(utc, zone).replace(tzinfo=None) == moment.replace(tzinfo=None):
            return utc
    return None


def write(store: Path, module: int, draft: Draft, now: int) -> int:
    """Write a new mark; return its number. Raise UserError when it is refused."""
    return add_mark(
        store, now, module=module, utc=draft.utc, kind=draft.kind, author=draft.author, text=draft.text,
        data=None if draft.data is None else dict(draft.data), utc_end=draft.utc_end,
    )  # fmt: skip


def change(store: Path, mark: int, draft: Draft, now: int) -> int:
    """Write a new version of a mark; return the version. Raise UserError when it is refused."""
    return change_mark(
        store, mark, now, utc=draft.utc, kind=draft.kind, author=draft.author, text=draft.text
    )


def remove(store: Path, mark: int, author: str, now: int) -> None:
    """Take a mark off the pages; its history stays. Raise UserError when it is refused."""
    remove_mark(store, mark, now, author=author)
