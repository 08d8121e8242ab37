"""From board ticks to UTC: widening past the wrap, and a line through timed answers.

A pair (tick, receive time) is taken only when a `hello` answers the host, since records may come late from
the module's ring. Delay only ever makes a pair late, so the line lies under the pairs; its slope is a least
squares fit once they span half an hour. The wall clock never orders anything: it only labels ticks.
"""

from dataclasses import dataclass, replace

from ingest.records import ClockFit

WRAP = 1 << 32
# Two answers in a row that far from the line mean that the host's clock was set.
STEP_MS = 2000
SLOPE_SPAN_MS = 1_800_000
# Crystals are within this; more is noise.
RATE_PPB_MAX = 200_000
POINTS_MAX = 256
# A new fit is stored when it moves the newest tick by this much, or after an hour.
CHANGE_MS = 20
RENEW_MS = 3_600_000


def widen(raw: int, last: int) -> int:
    """Return the widened tick with the low 32 bits `raw`, nearest to `last`, never negative."""
    wide = last + ((raw - last + WRAP // 2) % WRAP) - WRAP // 2
    return wide if wide >= 0 else wide + WRAP


def between(first: int, second: int) -> int:
    """Return the ms from one raw tick to another, negative when the second is the earlier one."""
    return (second - first + WRAP // 2) % WRAP - WRAP // 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """Hold the timed answers of one boot: pairs (tick, UTC ms), the fit in force, an answer in doubt."""

    points: tuple[tuple[int, int], ...] = ()
    fit: ClockFit | None = None
    doubt: tuple[int, int] | None = None


def observe(clock: Clock, tick: int, utc_ms: int, module_utc: int | None) -> tuple[Clock, ClockFit | None]:
    """Take one timed answer; return the clock and the fit to store, None when the stored one still holds."""
    point = (tick, utc_ms)
    fit = clock.fit
    if fit is None:
        return _renewed(clock, (point,), tick, 0, module_utc, step=False)
    residual = utc_ms - fit.utc(tick)
    if abs(residual) <= STEP_MS:
        points = _thin((*clock.points, point))
        return _renewed(clock, points, tick, residual, module_utc, step=False)
    if clock.doubt is not None and abs((utc_ms - tick) - (clock.doubt[1] - clock.doubt[0])) <= STEP_MS:
        return _renewed(clock, (clock.doubt, point), tick, residual, module_utc, step=True)
    return Clock(points=clock.points, fit=fit, doubt=point), None


def shifted(clock: Clock, ticks: int) -> Clock:
    """Return the clock for ticks counted from another beginning."""
    fit = clock.fit
    return Clock(
        points=tuple((tick + ticks, utc) for tick, utc in clock.points),
        fit=None
        if fit is None
        else replace(
            fit,
            tick=fit.tick + ticks,
            utc0=fit.utc0 - ticks - ticks * fit.rate_ppb // 1_000_000_000,
        ),
    )


def _renewed(
    clock: Clock,
    points: tuple[tuple[int, int], ...],
    tick: int,
    residual: int,
    module_utc: int | None,
    step: bool,
) -> tuple[Clock, ClockFit | None]:
    rate = _rate(points, clock.fit.rate_ppb if clock.fit else 0)
    utc0 = min(utc - at - at * rate // 1_000_000_000 for at, utc in points)
    fit = ClockFit(
        tick=tick, utc0=utc0, rate_ppb=rate, residual_ms=residual, module_utc=module_utc, step=step
    )
    old = clock.fit
    if (
        old is not None
        and not step
        and abs(fit.utc(tick) - old.utc(tick)) < CHANGE_MS
        and tick - old.tick < RENEW_MS
    ):
        return Clock(points=points, fit=old), None
    return Clock(points=points, fit=fit), fit


def _rate(points: tuple[tuple[int, int], ...], known: int) -> int:
    if points[-1][0] - points[0][0] < SLOPE_SPAN_MS:
        return known
    count = len(points)
    first_tick, first_utc = points[0]
    x = [tick - first_tick for tick, _ in points]
    y = [(utc - first_utc) - (tick - first_tick) for tick, utc in points]
    mean_x, mean_y = sum(x) / count, sum(y) / count
    spread = sum((one - mean_x) ** 2 for one in x)
    slope = sum((one - mean_x) * (other - mean_y) for one, other in zip(x, y, strict=True)) / spread
    return max(-RATE_PPB_MAX, min(RATE_PPB_MAX, round(slope * 1e9)))


def _thin(points: tuple[tuple[int, int], ...]) -> tuple[tuple[int, int], ...]:
    if len(points) <= POINTS_MAX:
        return points
    # Of each neighbouring pair the one with the smaller delay is kept.
    halves = zip(points[0::2], points[1::2], strict=False)
    kept = tuple(min(pair, key=lambda one: one[1] - one[0]) for pair in halves)
    return (*kept, points[-1]) if len(points) % 2 else kept
