"""Say the upkeep in words: what is due, what was done, how sieve and battery wear."""

import math
from pathlib import Path
from typing import Any

from dashboard.formats import date, number
from dashboard.marking import Draft, write
from dashboard.view import View
from ingest.analysis.upkeep import (
    KIND,
    PARTS,
    Due,
    Entry,
    due_list,
    entries,
    entry,
    hours_now,
    log_marks,
)
from ingest.analysis.upkeep_trends import (
    DAY_MS,
    Slope,
    Trend,
    ages_faster,
    battery_points,
    sieve_points,
    trend,
)
from ingest.store.reader import Reader, tables

YEAR_DAYS = 365.0
CALM = ("due", "soon")


def log_of(reader: Reader, module: int) -> list[Entry]:
    """Return the log of a module, oldest first."""
    return entries(log_marks(reader, module))


def dues(reader: Reader, module: int, log: list[Entry], now: int) -> list[Due]:
    """Return what is due, the most urgent first, with what the module's settings know."""
    found = reader.settings_at(module, now)
    names = [name for part in PARTS.values() for name in (part.setting, part.interval_setting) if name]
    known = {} if found is None else {name: tables.setting_value(found.values, name) for name in names}
    return due_list(log, now, known)


def due_line(due: Due, view: View) -> str:
    """Return one part's line: its state, when it is due, when it was last done."""
    words, state = view.words, due.state(view.now)
    part = words(f"part.{due.part}")
    if due.last_ms is None:
        return words("due.never", part=part)
    last = date(due.last_ms, view.zone)
    if due.hours_left is not None:
        return words(f"due.hours_{state}", part=part, hours=number(abs(due.hours_left), 0), last=last)
    at = "" if due.due_ms is None else date(due.due_ms, view.zone)
    return words(f"due.{state}", part=part, date=at, last=last)


def now_line(reader: Reader, module: int, view: View) -> str:
    """Return one calm sentence for Now: what is due or soon; empty when nothing is."""
    found = [one for one in dues(reader, module, log_of(reader, module), view.now)
             if one.state(view.now) in CALM]  # fmt: skip
    if not found:
        return ""
    listed = view.words("list.join").join(due_line(one, view) for one in found)
    return view.words("due.now", list=listed)


def entry_line(one: Entry, view: View) -> str:
    """Return an entry of the log as a line."""
    words = view.words
    parts = [words(f"part.{one.part}"), words(f"deed.{one.deed}")]
    if one.hours is not None:
        parts.append(words("upkeep.hours", hours=number(one.hours, 0)))
    said = " ".join(parts[:2]) + "".join(f", {part}" for part in parts[2:])
    return said + (f": {words('data', text=one.text)}" if one.text else "")


def hours_line(log: list[Entry], view: View) -> str:
    """Return the concentrator's hours now, as least and most."""
    found = hours_now(log, view.now)
    if found is None:
        return view.words("upkeep.no_hours")
    low, high = math.floor(found[0]), math.ceil(found[1])
    return view.words("upkeep.hours_now", low=low, high=high)


def trend_lines(reader: Reader, module: int, log: list[Entry], view: View) -> list[str]:
    """Return how sieve and battery wear, each with its interval, and whether it bends."""
    sieve = sieve_points(reader, module, view.now, _changed(log, "sieve"))
    tests = battery_points(reader.settings_history(module), _changed(log, "battery"))
    lines = _trend("sieve", trend(sieve), view)
    lines += _trend("battery", trend(tests), view)
    if ages_faster(tests):
        lines.append(view.words("wear.battery_faster"))
    return lines


def _changed(log: list[Entry], part: str) -> int | None:
    return max((one.at_ms for one in log if one.part == part and one.deed == "changed"), default=None)


def _trend(part: str, found: Trend | None, view: View) -> list[str]:
    words = view.words
    if found is None:
        return [words(f"wear.{part}_none")]
    shown = {"first": number(found.first, 1), "last": number(found.last, 1)}
    if found.slope is None:
        return [words(f"wear.{part}_few", **shown)]
    lines = [words(f"wear.{part}", **shown, **_yearly(found.slope), points=found.slope.points)]
    if found.bend_day is not None and found.before is not None and found.after is not None:
        at = date(round(found.bend_day) * DAY_MS, view.zone)
        before, after = (number(one.each_day * 30.0, 1) for one in (found.before, found.after))
        lines.append(words(f"wear.{part}_bends", date=at, before=before, after=after))
    return lines


def _yearly(slope: Slope) -> dict[str, str]:
    named = {"slope": slope.each_day, "low": slope.low, "high": slope.high}
    return {name: number(value * YEAR_DAYS, 1) for name, value in named.items()}


def enter(
    reader: Reader, store: Path, module: int, *, told: dict[str, Any], author: str, at_ms: int, now: int
) -> int:
    """Write one entry; raise Refused for what makes no sense, nothing is lost then. Return the mark."""
    data = entry(
        part=told["part"], deed=told["deed"], hours=told.get("hours"), due_days=told.get("due_days"),
        before=[one for one in log_of(reader, module) if one.at_ms <= at_ms],
    )  # fmt: skip
    draft = Draft(utc=at_ms, kind=KIND, author=author, text=str(told.get("text") or ""), data=data)
    return write(store, module, draft, now)


