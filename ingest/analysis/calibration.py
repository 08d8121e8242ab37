"""Gain and offset of a channel from points against a reference, with their uncertainty.

A straight line through (reference, mean code) by weighted least squares (JCGM 100:2008, GUM, annex H.3). Into
the weights go the scatter of the codes and the resolution of what was recorded, each as a rectangle (GUM
4.3.7). Where more than two points scatter more than their own uncertainty explains, the covariance is widened
by chi-squared over its degrees of freedom (Birge, Phys Rev 1932;40:207; from memory). The limits of error of
the reference are a rectangle common to all points: they go into gain and offset whole. Uncertainties are
standard ones, k = 1; the correlation of gain and offset is left out, safe for readings above zero.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from firmware_sim.contract import channels, settings
from ingest.errors import UserError

ONE: Final = 16384
RECTANGLE: Final = 1 / math.sqrt(3)
# No sources, common practice: how far apart the points, how straight, how steady.
SPAN_MIN, BENT_MAX, RESTLESS_CODES = 0.15, 0.01, 12.0
RESTLESS_SHARE = 0.01
OXYGEN_HIGH: Final = 90.0  # an old cell reads air right and tops out early (practice of the trade)
AC: Final = (channels.SUPPLY_IN, channels.SUPPLY_OUT)
POINTS_MAX = 20
CODE_STEP = 1 / 8  # of a raw record


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One channel: codes to a unit, code of zero, range in units; rms of `is_ac` ones has no sign."""

    id: int
    name: str
    unit: str
    per_unit: float
    zero: float
    low: float
    high: float
    is_ac: bool

    @property
    def span(self) -> float:
        """Return the range that points are judged against, in units; of a sine its greatest rms."""
        return self.high / math.sqrt(2) if self.is_ac else self.high - self.low


def channel(name: str) -> Channel:
    """Return a channel by its name; raise UserError for an unknown one."""
    row = next((row for row in channels.CHANNELS if row[1] == name), None)
    if row is None:
        known = ", ".join(str(row[1]) for row in channels.CHANNELS)
        raise UserError(f"There is no channel '{name}'; there are {known}.")
    number, _, unit, _, code_low, code_high, low, high, _ = row
    per_unit = (code_high - code_low) / (high - low)
    is_ac = number in AC
    zero = 0.0 if is_ac else code_low - low * per_unit
    return Channel(
        id=number, name=name, unit=unit, per_unit=per_unit, zero=zero, low=low, high=high, is_ac=is_ac
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Coefficients:
    """What acts in the module: gain in 1/16384, offset in codes."""

    gain: int = ONE
    offset: int = 0

    def value(self, about: Channel, code: float) -> float:
        """Return what the module makes of a code (of an rms in codes where the channel is AC), in units."""
        taken = 0.0 if about.is_ac else self.offset + about.zero
        return (code - taken) / about.per_unit * self.gain / ONE


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One reference value and the codes seen with it: mean, lowest, highest, how many.

    Of an AC channel they are rms values in codes, and `zero` is the mean of the raw codes.
    """

    reference: float
    code: float
    low: float
    high: float
    count: int
    zero: float = 0.0

    def uncertainty(self) -> float:
        """Return the standard uncertainty of the mean code."""
        scatter = (self.high - self.low) / 2 * RECTANGLE / math.sqrt(self.count)
        return math.hypot(scatter, CODE_STEP / math.sqrt(12))


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """Limits of error of the reference: per cent of its reading, and units on top."""

    percent: float
    absolute: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """New coefficients, their standard uncertainties (ppm of gain, codes of offset), and each point's errors.

    `found` and `left`: reading minus reference before and after, in units. `widened`: by which factor the
    scatter of the points widened the uncertainty.
    """

    channel: Channel
    coefficients: Coefficients
    gain_u_ppm: float
    offset_u: float
    points: tuple[Point, ...]
    found: tuple[float, ...]
    left: tuple[float, ...]
    widened: float

    def uncertainty(self, value: float) -> float:
        """Return the standard uncertainty of a reading in units."""
        return reading_uncertainty(self.channel, self.gain_u_ppm, self.offset_u, value)


def reading_uncertainty(about: Channel, gain_u_ppm: float, offset_u: float, value: float) -> float:
    """Return the standard uncertainty of a reading in units, from those of gain and offset."""
    # An rms hardly feels the zero: what the offset leaves is subtracted in squares.
    from_zero = 0.0 if about.is_ac else offset_u / about.per_unit
    return math.hypot(from_zero, value * gain_u_ppm * 1e-6)


def check_point(about: Channel, point: Point, others: Sequence[Point] = ()) -> None:
    """Raise UserError for a point that can't be used."""
    _check_reference(about, point.reference, others)
    if point.high >= (about.span if about.is_ac else about.high) * about.per_unit + about.zero - 2:
        raise UserError(f"{about.name}: the converter is at its upper end; apply less, or check the wiring.")
    if not about.is_ac and point.low <= about.low * about.per_unit + about.zero + 2:
        raise UserError(f"{about.name}: the converter is at its lower end; apply more, or check the wiring.")
    restless = point.high - point.low
    allowed = max(RESTLESS_CODES, RESTLESS_SHARE * point.code if about.is_ac else 0.0)
    if restless > allowed:
        raise UserError(
            f"{about.name}: the codes moved by {restless:.0f} while {point.reference:g} {about.unit} stood; "
            "hold the reference still and try again."
        )


def _check_reference(about: Channel, reference: float, others: Sequence[Point]) -> None:
    low = 0.0 if about.is_ac else about.low
    high = about.span if about.is_ac else about.high
    if not (math.isfinite(reference) and low <= reference <= high):
        raise UserError(
            f"{about.name}: {reference:g} {about.unit} is outside {low:g} to {high:.0f} {about.unit}; "
            "check the reference and its unit."
        )
    if len(others) >= POINTS_MAX:
        raise UserError(f"{about.name}: {POINTS_MAX} points are enough; finish with an empty line.")


def solve(
    about: Channel, points: Sequence[Point], reference: Reference, before: Coefficients, factor: float = 1.0
) -> Result:
    """Return coefficients from two or more points; raise UserError for nonsense.

    `factor`: what the module multiplies the reading with afterwards (altitude, of oxygen).
    """
    for index, point in enumerate(points):
        check_point(about, point, points[:index])
    _check_span(about, points)
    felt = np.array([point.reference / factor for point in points])
    codes = np.array([point.code for point in points])
    spread = np.array([point.uncertainty() for point in points])
    slope, zero, slope_u, zero_u, widened = (_through_zero if about.is_ac else _line)(felt, codes, spread)
    if about.is_ac:
        means = np.array([point.zero for point in points])
        zero, zero_u = float(means.mean()), float(np.ptp(means)) / 2 * RECTANGLE + CODE_STEP
    if slope <= 0:
        raise UserError(f"{about.name}: the codes fall as the reference rises; points or wires are swapped.")
    new = _coefficients(about, about.per_unit / slope, zero - about.zero)
    share = math.hypot(slope_u / slope, reference.percent / 100 * RECTANGLE, 1 / ONE / math.sqrt(12))
    common = reference.absolute * about.per_unit * RECTANGLE
    if about.is_ac:  # no zero to go into: it acts on the gain, at the largest reading
        share = math.hypot(share, reference.absolute * RECTANGLE / float(felt.max()))
        common = 0.0
    found = tuple(factor * before.value(about, point.code) - point.reference for point in points)
    left = tuple(factor * new.value(about, point.code) - point.reference for point in points)
    _check_straight(about, left)
    return Result(
        channel=about, coefficients=new, gain_u_ppm=share * 1e6,
        offset_u=math.hypot(zero_u, common, 1 / math.sqrt(12)), points=tuple(points), found=found, left=left,
        widened=widened,
    )  # fmt: skip


def _line(x: np.ndarray, y: np.ndarray, u: np.ndarray) -> tuple[float, float, float, float, float]:
    """Return slope, intercept, their standard uncertainties, and the factor that widened them."""
    (slope, intercept), covariance = np.polyfit(x, y, 1, w=1 / u, cov="unscaled")
    widened = 1.0
    if len(x) > 2:
        residuals = (y - slope * x - intercept) / u
        widened = max(1.0, math.sqrt(float(residuals @ residuals) / (len(x) - 2)))
    slope_u, intercept_u = np.sqrt(np.diag(covariance)) * widened
    return float(slope), float(intercept), float(slope_u), float(intercept_u), widened


def _through_zero(x: np.ndarray, y: np.ndarray, u: np.ndarray) -> tuple[float, float, float, float, float]:
    """Return the same for a line through the origin, which an rms takes; points at zero weigh nothing."""
    total = float((x * x / u**2).sum())
    slope = float((x * y / u**2).sum()) / total
    used = x > 0
    widened = 1.0
    if used.sum() > 1:
        residuals = ((y - slope * x) / u)[used]
        widened = max(1.0, math.sqrt(float(residuals @ residuals) / (used.sum() - 1)))
    return slope, 0.0, widened / math.sqrt(total), 0.0, widened


def _check_span(about: Channel, points: Sequence[Point]) -> None:
    if len(points) < 2:
        raise UserError(f"{about.name}: one point gives no gain; apply at least two, or ask for --zero.")
    values = [point.reference for point in points]
    wanted = SPAN_MIN * about.span
    if max(values) - min(values) < wanted:
        raise UserError(
            f"{about.name}: the points lie {max(values) - min(values):g} {about.unit} apart; "
            f"at least {wanted:.3g} {about.unit} are needed."
        )
    if about.id == channels.OXYGEN and max(values) < OXYGEN_HIGH:
        raise UserError(
            f"{about.name}: one point must be {OXYGEN_HIGH:g} % or more; an old cell reads air right and "
            "tops out early."
        )


def _check_straight(about: Channel, left: Sequence[float]) -> None:
    worst = max(abs(error) for error in left)
    if worst > BENT_MAX * about.span:
        raise UserError(
            f"{about.name}: a point lies {worst:.3g} {about.unit} off the line; read the points again, "
            "or the sensor is worn out."
        )


def _coefficients(about: Channel, gain: float, offset: float) -> Coefficients:
    steps = Coefficients(gain=round(gain * ONE), offset=round(offset))
    for part, unit, value in (("gain", "", steps.gain), ("offset", " codes", steps.offset)):
        row = settings.SETTINGS[settings.ID_OF[f"calibration.{about.name}_{part}"]]
        if not row.low <= value <= row.high:
            shown = f"{value / ONE:.3f}" if part == "gain" else str(value)
            raise UserError(
                f"{about.name}: a {part} of {shown}{unit} is beyond what a calibration may mend; check the "
                "reference's unit, the wiring and the sensor."
            )
    return steps


def zero_check(about: Channel, point: Point) -> int:
    """Return the offset that makes a reading of nothing nothing, in codes; raise UserError for nonsense."""
    check_point(about, point)
    code = point.zero if about.is_ac else point.code
    return _coefficients(about, 1.0, code - about.zero).offset


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """How a reading of `at` units changed from an earlier calibration, against both uncertainties (k = 2)."""

    at: float
    change: float
    expanded: float

    @property
    def is_proven(self) -> bool:
        """Tell whether the change is more than both uncertainties explain."""
        return abs(self.change) > self.expanded


def drift(
    about: Channel, earlier: Coefficients, earlier_u: tuple[float, float], later: Coefficients,
    later_u: tuple[float, float], at: float,
) -> Drift:  # fmt: skip
    """Compare two calibrations at a reading; uncertainties as (ppm of gain, codes of offset), k = 1.

    The change is what the sensor did meanwhile: how the earlier coefficients read what the later ones call
    `at`.
    """
    code = at / (later.gain / ONE) * about.per_unit + (0.0 if about.is_ac else later.offset + about.zero)
    parts = [reading_uncertainty(about, *one, at) for one in (earlier_u, later_u)]
    return Drift(at=at, change=earlier.value(about, code) - at, expanded=2 * math.hypot(*parts))
