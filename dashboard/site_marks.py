"""What people know of a supply and the module can't: written as marks, read by the study.

Marks: `site` (phase, feeder, generator), `supply label` (what a stretch of time was), `trip` (equipment
stopped), `equipment watched` (it ran and somebody would have seen it stop).
"""

from collections.abc import Mapping
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from dashboard.marking import Draft
from dashboard.texts import Words
from ingest.errors import UserError
from ingest.store.reader import Mark, Reader

SITE, LABEL, TRIP, WATCHED = KINDS = ("site", "supply label", "trip", "equipment watched")
LABELS = ("load-shedding", "fault", "generator", "switching")
"""What a stretch of time may be called; a package without names keeps these."""
ABOUT = ("phase", "feeder", "generator")
LONGEST = 60
AROUND_MS = 86_400_000


def moment(text: str, zone: ZoneInfo, words: Words) -> int:
    """Return UTC ms of a date or time of the zone; a time with its own offset keeps that."""
    try:
        at = datetime.fromisoformat(text.strip())
        local = at if at.tzinfo is not None else at.replace(tzinfo=zone)
        return round(local.astimezone(UTC).timestamp() * 1000)
    except (ValueError, OverflowError):
        raise UserError(words("study.bad.date", text=text)) from None


def about_site(about: Mapping[str, str], author: str, now: int, words: Words) -> Draft:
    """Return the mark that says where a module measures; raise UserError when nothing is said."""
    data = {name: _short(about.get(name, ""), words) for name in ABOUT}
    data = {name: value for name, value in data.items() if value}
    if not data:
        raise UserError(words("label.bad.nothing"))
    return Draft(utc=now, kind=SITE, author=_author(author, words), text="", data=data)


def about_time(
    what: str, times: tuple[int, int | None], equipment: str, author: str, span: tuple[int, int] | None,
    words: Words,
) -> Draft:  # fmt: skip
    """Return the mark on a time (UTC ms, the end None for a moment); `what`: one of LABELS, TRIP or WATCHED.

    `span`: what is recorded of the module. Raise UserError for what can't be.
    """
    begin, end = times
    if end is not None and end <= begin:
        raise UserError(words("label.bad.order"))
    if end is None and what == WATCHED:
        raise UserError(words("label.bad.no_end"))
    last = begin if end is None else end
    if span is None or last < span[0] - AROUND_MS or begin > span[1] + AROUND_MS:
        raise UserError(words("label.bad.outside"))
    name = _author(author, words)
    if what in LABELS:
        return Draft(utc=begin, utc_end=end, kind=LABEL, author=name, text="", data={"label": what})
    if what not in (TRIP, WATCHED):
        raise UserError(words("label.bad.what", text=what, known=", ".join((*LABELS, TRIP, WATCHED))))
    data = {"equipment": _short(equipment, words) or words("label.equipment_unnamed")}
    return Draft(utc=begin, utc_end=end, kind=what, author=name, text="", data=data)


def site_marks(reader: Reader, module: int) -> list[Mark]:
    """Return what was said of a module's supply, oldest first."""
    return [mark for mark in reader.marks(module) if mark.kind in KINDS]


def said_of(mark: Mark) -> str:
    """Return what a mark says, as a person wrote it."""
    return ", ".join(str(value) for value in mark.data.values()) or mark.text


def _author(text: str, words: Words) -> str:
    if not text.strip():
        raise UserError(words("label.bad.author"))
    return text.strip()


def _short(text: str, words: Words) -> str:
    if len(text.strip()) > LONGEST:
        raise UserError(words("label.bad.long", most=LONGEST))
    return text.strip()
