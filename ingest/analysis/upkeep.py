"""The maintenance log: what was done to which part and when, what is due next, the concentrator's hours.

Entries are marks of one kind; nothing is overwritten. Intervals are common practice without a source, but for
the battery's test (180 days) and calibration, which the module's own settings hold. An entry may set its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

from ingest.analysis.refusal import Refused
from ingest.analysis.units import checked
from ingest.analysis.written import Written

KIND: Final = "upkeep"
# Marks of others that are upkeep too.
CALIBRATION: Final = "calibration"
CHECK: Final = "check"
DAY_MS: Final = 86_400_000
SOON_DAYS: Final = 14
INTERVAL_DAYS_MAX: Final = 3650
HOURS_A_DAY: Final = 24.0
SLACK_H: Final = 0.5  # a counter shows whole hours


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Describe one part: what may be done to it, days and counter hours after which it is due (None: not).

    `setting`: the module's setting that holds the day of the last one; `interval_setting` its interval.
    """

    name: str
    deeds: tuple[str, ...]
    days: int | None = None
    hours: float | None = None
    setting: str = ""
    interval_setting: str = ""


def _rows(*parts: Part) -> Mapping[str, Part]:
    return MappingProxyType({part.name: part for part in parts})


PARTS: Final[Mapping[str, Part]] = _rows(
    Part(name="battery", deeds=("tested", "changed"), days=180, setting="battery.proven_day",
         interval_setting="battery.proven_age_max"),
    Part(name="sieve", deeds=("changed", "dried"), hours=15_000.0),
    Part(name="filter", deeds=("cleaned", "changed"), days=7),
    Part(name="cell", deeds=("changed",), days=730),
    Part(name="cylinder", deeds=("changed", "filled", "tested"), days=1825),
    Part(name="calibration", deeds=("done",), days=365, setting="calibration.day",
         interval_setting="calibration.interval"),
    Part(name="concentrator", deeds=("hours_read", "serviced"), hours=None, days=365),
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """Hold one entry; `hours` of the counter and `due_days` None where not given."""

    at_ms: int
    part: str
    deed: str
    hours: float | None
    due_days: int | None
    author: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """Hold when a part is due: `last_ms` None never done, `due_ms` None not by the calendar; `hours_left`."""

    part: str
    last_ms: int | None
    due_ms: int | None
    hours_left: float | None

    def state(self, now: int) -> str:
        """Return never, due, soon or later."""
        if self.last_ms is None:
            return "never"
        left = min(
            ((self.due_ms - now) / DAY_MS if self.due_ms is not None else INTERVAL_DAYS_MAX),
            (self.hours_left / HOURS_A_DAY if self.hours_left is not None else INTERVAL_DAYS_MAX),
        )
        return "due" if left <= 0 else "soon" if left <= SOON_DAYS else "later"


def entry(
    *, part: str, deed: str, hours: object = None, due_days: object = None, before: Iterable[Entry] = ()
) -> dict[str, Any]:
    """Return the data of an entry; raise Refused for a part, a deed or a figure that makes no sense."""
    row = PARTS.get(part)
    if row is None:
        raise Refused("refused.no_part", given=repr(part), known=", ".join(PARTS))
    if deed not in row.deeds:
        raise Refused("refused.no_deed", part=part, given=repr(deed), known=", ".join(row.deeds))
    data: dict[str, Any] = {"part": part, "deed": deed}
    if hours not in (None, ""):
        data["hours"] = checked("hours of the counter", hours)
        known = [one.hours for one in before if one.hours is not None]
        if known and data["hours"] < max(known):
            raise Refused("refused.hours_back", given=data["hours"], known=max(known))
    elif deed == "hours_read":
        raise Refused("refused.hours_missing")
    if due_days not in (None, ""):
        data["due_days"] = round(checked("days until it is due", due_days))
    return data


def log_marks(
    store: Any, module: int, start: int | None = None, end: int | None = None
) -> list[Written]:
    """Return what belongs to the log: its own entries, calibrations, and results of guided checks."""
    return [mark for kind in (KIND, CALIBRATION, CHECK) for mark in store.marks(module, start, end, kind)]


def entries(marks: Iterable[Written]) -> list[Entry]:
    """Read the log, oldest first; what can't be read, or is no upkeep, is left out.

    A calibration and a discharge test that passed are upkeep, wherever they were written down.
    """
    found = (_entry(mark) for mark in sorted(marks, key=lambda one: one.utc))
    return [one for one in found if one is not None]


def _entry(mark: Written) -> Entry | None:
    data = mark.data
    part, deed, hours, due = (data.get(one) for one in ("part", "deed", "hours", "due_days"))
    text = mark.text
    if mark.kind == CALIBRATION:
        part, deed, text = "calibration", "done", str(data.get("channel", "")).replace("_", " ")
    elif mark.kind == CHECK:
        if (data.get("do"), data.get("step"), data.get("state")) != ("result", "discharge", "passed"):
            return None
        part, deed, text = "battery", "tested", f"{data.get('value', 0):g} min"
    if not isinstance(part, str) or part not in PARTS or not isinstance(deed, str):
        return None
    return Entry(
        at_ms=mark.utc, part=part, deed=deed, author=mark.author, text=text,
        hours=float(hours) if isinstance(hours, int | float) else None,
        due_days=due if isinstance(due, int) else None,
    )  # fmt: skip


def hours_now(log: Iterable[Entry], now: int) -> tuple[float, float] | None:
    """Return the counter's least and greatest hours now, None before the first reading.

    At least the last reading; at most as if it had run ever since (definition).
    """
    read = [one for one in log if one.hours is not None]
    if not read:
        return None
    last = read[-1]
    assert last.hours is not None
    return last.hours, last.hours + SLACK_H + max(now - last.at_ms, 0) / 3_600_000


def due_list(log: list[Entry], now: int, setting: Mapping[str, float]) -> list[Due]:
    """Return when each part is due, the most urgent first.

    `setting`: the module's settings by name, in units, for what it knows itself: the newer of both counts.
    """
    found = [_due(part, log, now, setting) for part in PARTS.values()]
    order = ("due", "soon", "never", "later")
    return sorted(found, key=lambda one: (order.index(one.state(now)), one.due_ms or 1 << 60))


def _due(part: Part, log: list[Entry], now: int, setting: Mapping[str, float]) -> Due:
    # A reading of the counter is no service.
    done = [one for one in log if one.part == part.name and one.deed != "hours_read"]
    last = done[-1] if done else None
    last_ms = None if last is None else last.at_ms
    own = setting.get(part.setting, 0.0)
    days = setting.get(part.interval_setting, part.days) if part.interval_setting else part.days
    if own > 0 and (last_ms is None or own * DAY_MS > last_ms):
        last_ms, last = round(own * DAY_MS), None
    if last is not None and last.due_days is not None:
        days = last.due_days
    left = None
    if part.hours is not None and last is not None and last.hours is not None:
        range_now = hours_now(log, now)
        assert range_now is not None, "this very entry holds a reading"
        left = last.hours + part.hours - range_now[1]
    due_ms = None if last_ms is None or days is None else last_ms + round(days) * DAY_MS
    return Due(part=part.name, last_ms=last_ms, due_ms=due_ms, hours_left=left)
