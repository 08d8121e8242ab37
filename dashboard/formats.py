"""Numbers and times as text: zone always named, minus sign proper, nothing invented for what is missing."""

import math
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from dashboard.texts import Number, Words

SECOND, MINUTE, HOUR, DAY = 1000, 60_000, 3_600_000, 86_400_000
MISSING = "—"
NARROW_SPACE = "\u202f"  # between thousands


def local(utc_ms: int, zone: ZoneInfo) -> datetime:
    """Return UTC ms as a date and time of the zone."""
    return datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone(zone)


def number(value: float | None, digits: int) -> Number:
    """Return a number with a proper minus sign; a dash for None and NaN.

    Within a text of the catalogue it gets the language's decimal mark; `Words.number` gives it elsewhere.
    """
    if value is None or math.isnan(value):
        return Number(MISSING)
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = f"{0:.{digits}f}"
    return Number(text.replace("-", "−"))


def clock(utc_ms: int, zone: ZoneInfo, seconds: bool = False) -> str:
    """Return the time of day, HH:MM or HH:MM:SS."""
    return local(utc_ms, zone).strftime("%H:%M:%S" if seconds else "%H:%M")


def offset(utc_ms: int, zone: ZoneInfo) -> str:
    """Return the zone's offset from UTC at a time, as 'UTC+01:00'."""
    text = local(utc_ms, zone).strftime("%z").replace("-", "−")
    return f"UTC{text[:3]}:{text[3:5]}"


def date(utc_ms: int, zone: ZoneInfo) -> str:
    """Return the date as YYYY-MM-DD."""
    return local(utc_ms, zone).strftime("%Y-%m-%d")


def span(ms: float, words: Words) -> str:
    """Return a length of time in the largest two units that matter: '35 s', '12 min', '3 h 05 min'."""
    seconds = round(ms / SECOND)
    if seconds < 120:
        return words("span.seconds", n=seconds)
    minutes = round(ms / MINUTE)
    if minutes < 60:
        return words("span.minutes", n=minutes)
    hours, rest = divmod(minutes, 60)
    if hours < 48:
        return words("span.hours", h=hours, m=f"{rest:02d}")
    return words("span.days", d=hours // 24, h=hours % 24)


def utc_offset_ms(utc_ms: int, zone: ZoneInfo) -> int:
    """Return local time minus UTC in ms."""
    delta = local(utc_ms, zone).utcoffset()
    assert delta is not None, "a zone always has an offset"
    return round(delta.total_seconds() * 1000)
