"""Cut a night into the hours a wall clock shows, right across a change of clock."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Final

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class HourSpan:
    """Hold one hour of the wall clock: UTC ms span and its local start with offset (PEP 495 fold)."""

    start_ms: int
    end_ms: int
    local_start: datetime

    @property
    def seconds(self) -> float:
        """Return its true length, s."""
        return (self.end_ms - self.start_ms) / 1000.0


def local_time(at_ms: int, zone: tzinfo) -> datetime:
    """Return a UTC ms as local time with offset; exact, no float of seconds in between."""
    return (_EPOCH + timedelta(milliseconds=at_ms)).astimezone(zone)


def utc_ms(moment: datetime) -> int:
    """Return the UTC ms of an aware datetime."""
    if moment.tzinfo is None:
        raise ValueError("a time without a zone has no place on the axis")
    return (moment - _EPOCH) // timedelta(milliseconds=1)


def night_hours(start_ms: int, end_ms: int, zone: tzinfo) -> tuple[HourSpan, ...]:
    """Return the wall-clock hours of [start_ms, end_ms); the first and last may be cut.

    When clocks go back the doubled hour appears twice, told apart by its offset; when they go forward the
    missing one doesn't appear. Zones shift at a full hour of their own clock, so every piece has one offset.
    """
    hours: list[HourSpan] = []
    at = start_ms
    while at < end_ms:
        local = local_time(at, zone)
        into_ms = (local.minute * 60 + local.second) * 1000 + local.microsecond // 1000
        end = min(at + 3_600_000 - into_ms, end_ms)
        hours.append(HourSpan(start_ms=at, end_ms=end, local_start=local))
        at = end
    return tuple(hours)
