"""Ticks of the time axis in the reader's zone: round local times, right across a change of the clock."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from dashboard.formats import DAY, HOUR, MINUTE, SECOND, clock, date, local, offset

# Steps that read as round; the last ones count days.
STEPS_MS = (
    100, 200, 500, SECOND, 2 * SECOND, 5 * SECOND, 10 * SECOND, 30 * SECOND,
    MINUTE, 2 * MINUTE, 5 * MINUTE, 10 * MINUTE, 15 * MINUTE, 30 * MINUTE,
    HOUR, 2 * HOUR, 3 * HOUR, 6 * HOUR, 12 * HOUR,
    DAY, 2 * DAY, 7 * DAY, 14 * DAY, 30 * DAY, 60 * DAY, 90 * DAY, 180 * DAY, 365 * DAY,
)  # fmt: skip
# Every offset in use is a multiple of this, so that round local times are found among its multiples.
QUARTER = 15 * MINUTE


def step_for(length_ms: int, ticks_max: int) -> int:
    """Return the smallest round step that gives at most `ticks_max` ticks."""
    return next((step for step in STEPS_MS if length_ms / step <= ticks_max), STEPS_MS[-1])


def tick_times(start: int, end: int, step: int, zone: ZoneInfo) -> list[int]:
    """Return the round local times inside [start, end], in UTC ms."""
    if step >= DAY:
        return [t for t in _midnights(start, end, step // DAY, zone) if start <= t <= end]
    if step < QUARTER:
        first = -(-start // step) * step
        return list(range(first, end + 1, step))
    first = -(-start // QUARTER) * QUARTER
    return [t for t in range(first, end + 1, QUARTER) if _since_midnight(t, zone) % step == 0]


def _since_midnight(t: int, zone: ZoneInfo) -> int:
    at = local(t, zone)
    return (at.hour * 60 + at.minute) * MINUTE


def _midnights(start: int, end: int, days: int, zone: ZoneInfo) -> Iterator[int]:
    first = local(start, zone).date()
    # Counted from a fixed day, so that ticks stay where they are while the window moves.
    day = first - timedelta(days=first.toordinal() % days)
    while True:
        t = round(datetime(day.year, day.month, day.day, tzinfo=zone).timestamp() * 1000)
        if t > end:
            return
        yield t
        day += timedelta(days=days)


def tick_labels(times: list[int], step: int, zone: ZoneInfo) -> list[str]:
    """Return labels: time of day, the date where it changes, the offset where the clock was changed."""
    labels = []
    before = None
    for t in times:
        lines = [_time(t, step, zone)] if step < DAY else []
        day, shift = date(t, zone), offset(t, zone)
        if before is None or before[0] != day:
            lines.append(day)
        if before is not None and before[1] != shift and step < DAY:
            lines.append(shift)
        labels.append("<br>".join(lines))
        before = (day, shift)
    return labels


def _time(t: int, step: int, zone: ZoneInfo) -> str:
    text = clock(t, zone, seconds=step < MINUTE)
    return f"{text}.{t % SECOND // 100}" if step < SECOND else text
