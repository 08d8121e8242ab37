"""Error budget of every channel: one table, from which the claimed accuracy is added up.

A contribution is either a limit (rectangular: anything up to it is as likely) or one standard deviation, in
per cent of the reading or in the channel's unit. Standard uncertainties are added as squares and doubled
(JCGM 100:2008, 4.3.7 and 6.2: about 95 %), those of the reading and those in units each for itself; the sum
of both is the claim. The plain sum of all limits stands beside it: worse than that can't be, as long as no
contribution was forgotten. Contributions are demands on the parts to be chosen, not properties of any part.
"""

from math import sqrt
from typing import NamedTuple

from firmware_sim.board.adc import FLAWS
from firmware_sim.contract import channels
from firmware_sim.hardware import chains

LIMIT, DEVIATION = "limit", "deviation"
PERCENT, UNITS = "% of reading", "unit"
# How far the temperature moves between calibration and use: 10 to 40 °C around 25 (common practice).
KELVIN = 15.0


class Part(NamedTuple):
    """One contribution: what, how large, per cent of the reading or in units, limit or deviation."""

    what: str
    size: float
    kind: str = PERCENT
    shape: str = LIMIT

    @property
    def standard(self) -> float:
        """The standard uncertainty (JCGM 100:2008, 4.3.7: half-width of a rectangle over √3)."""
        return self.size / sqrt(3) if self.shape == LIMIT else self.size


class Budget(NamedTuple):
    """A channel's budget after calibration.

    `claim_units` and `claim_percent` are claimed; `as_built_percent` and `as_built_codes` is what a board may
    be off before it was calibrated; `typical` is a reading to look at; `remark` what it is compared with.
    """

    channel: str
    claim_units: float
    claim_percent: float
    as_built_percent: float
    as_built_codes: float
    typical: float
    parts: tuple[Part, ...]
    remark: str


def code_size(channel: str) -> float:
    """Return how much one converter code is, in the channel's unit."""
    _, _, _, _, low, high, value_low, value_high, _ = row_of(channel)
    return float((value_high - value_low) / (high - low))


def row_of(channel: str) -> tuple[int, str, str, float, int, int, float, float, int]:
    """Return the contract's row of a channel."""
    return next(row for row in channels.CHANNELS if row[1] == channel)


def converter_parts(channel: str, averaged: int = 1, linear_codes: float = 2.0) -> tuple[Part, ...]:
    """Return what the converter adds; `averaged` samples make one reading.

    The noise is the emulated board's, so that both are one number.
    """
    step, number = code_size(channel), row_of(channel)[0]
    return (
        Part(f"converter's non-linearity, {linear_codes:g} codes", linear_codes * step, UNITS),
        Part(
            f"converter's noise, over {averaged} samples" if averaged > 1 else "converter's noise",
            FLAWS[number].noise_q8 / 256 * step / sqrt(averaged),
            UNITS,
            DEVIATION,
        ),
        Part("half a code", step / 2 / sqrt(averaged), UNITS),
        Part("step of the gain setting, half of 1/16384", 50 / 16384),
    )


def supply_parts(channel: str) -> tuple[Part, ...]:
    """Return the contributions of a supply tap: one-cycle rms at 50 Hz, 64 samples."""
    return (
        Part("reference meter at the calibration", 0.2),
        Part(f"divider's ratio, 5 ppm/K over {KELVIN:g} K", 5e-4 * KELVIN),
        Part(f"isolation amplifier's gain, 75 ppm/K over {KELVIN:g} K", 75e-4 * KELVIN),
        Part(f"converter's reference, 50 ppm/K over {KELVIN:g} K", 50e-4 * KELVIN),
        Part("ageing in a year", 0.1),
        Part("anti-alias filter, 42.5 to 65 Hz against 50 Hz", 100 * chains.droop_between(42.5, 65.0)),
        Part("windows between zero crossings", 0.007),
        *converter_parts(channel, 64, 0.5),
    )


BUDGETS = (
    *(
        Budget(
            name,
            0.25,
            0.35,
            2.0,
            4.0,
            230.0,
            supply_parts(name),
            "class S asks ±0.5 % of the declared voltage (IEC 61000-4-30, from memory)",
        )
        for name in ("supply_in", "supply_out")
    ),
    Budget(
        "pressure",
        1.0,
        1.8,
        2.0,
        20.0,
        20.0,
        (
            Part("reference manometer", 1.0),
            Part("sensor's span, 10 to 40 °C", 1.0),
            Part("ageing of the span in a year", 0.5),
            Part("sensor's zero since it was last checked", 0.5, UNITS),
            Part("sensor's non-linearity and hysteresis, 0.25 % of 150", 0.375, UNITS),
            Part("5 mm of water in the sampling tube", 0.5, UNITS),
            *converter_parts("pressure"),
        ),
        "a ventilator's own gauge: ±(2 cmH2O + 4 % of reading) (ISO 80601-2-12, from memory)",
    ),
    Budget(
        "oxygen",
        0.9,
        2.4,
        8.0,
        60.0,
        93.0,
        (
            Part("weather since the calibration: ambient pressure ±15 hPa", 1.5),
            Part("cell's temperature compensation", 1.0),
            Part("cell's drift between calibrations, a month", 1.0),
            Part("reference gas of at least 90 %", 0.5, UNITS),
            Part("humidity of the air point", 0.3, UNITS),
            Part("cell's non-linearity between the two points", 0.5, UNITS),
            *converter_parts("oxygen"),
        ),
        "weekly field checks were made with ±3 % (Howie et al., J Glob Health 2020;10:020425)",
    ),
    Budget(
        "rail",
        0.005,
        0.5,
        2.0,
        4.0,
        5.0,
        (
            Part("reference meter", 0.2),
            Part(f"divider's ratio, 100 ppm/K over {KELVIN:g} K", 100e-4 * KELVIN),
            Part("ageing in a year", 0.3),
            *converter_parts("rail"),
        ),
        "the alarm row at 4.5 V needs 0.1 V",
    ),
    Budget(
        "product_pressure",
        1.8,
        2.1,
        3.0,
        30.0,
        70.0,
        (
            Part("reference gauge", 1.0),
            Part("sensor's span, 10 to 40 °C", 1.5),
            Part("sensor's zero", 1.5, UNITS),
            *converter_parts("product_pressure"),
        ),
        "only falling or not falling is judged",
    ),
    Budget(
        "battery_voltage",
        0.2,
        0.5,
        3.0,
        6.0,
        192.0,
        (
            Part("reference meter", 0.2),
            Part(f"divider's ratio, 25 ppm/K over {KELVIN:g} K", 25e-4 * KELVIN),
            Part("isolation amplifier's gain", 0.3),
            Part("ageing in a year", 0.2),
            *converter_parts("battery_voltage"),
        ),
        "a cell of lead loses about 0.1 V of 2 before it is empty: 5 %",
    ),
    Budget(
        "ups_current",
        0.07,
        1.5,
        3.0,
        8.0,
        4.0,
        (
            Part("reference clamp", 0.7),
            Part("place of the wire in the clamp", 1.0),
            Part("clamp's zero after a surge", 0.05, UNITS),
            *converter_parts("ups_current"),
        ),
        "load steps of a concentrator's start are several amperes",
    ),
    Budget(
        "surge_peak",
        7.0,
        10.0,
        5.0,
        8.0,
        1500.0,
        (
            Part("divider at fast edges", 5.0),
            Part("peak hold: droop and a front of 1 µs", 7.0),
            Part("diode's threshold, after the divider", 5.0, UNITS),
            *converter_parts("surge_peak"),
        ),
        "indicative: tells a surge and its order of size",
    ),
)


def expanded(budget: Budget) -> tuple[float, float]:
    """Return twice the root of the sum of squares: in units, and in per cent of the reading."""
    sums = {
        kind: sum(part.standard**2 for part in budget.parts if part.kind == kind) for kind in (UNITS, PERCENT)
    }
    return 2 * sqrt(sums[UNITS]), 2 * sqrt(sums[PERCENT])


def worst(budget: Budget, reading: float) -> float:
    """Return the plain sum of all limits at a reading, deviations counted three times, in the unit."""
    total = 0.0
    for part in budget.parts:
        size = part.size if part.shape == LIMIT else 3 * part.size
        total += size if part.kind == UNITS else size * reading / 100
    return total


def claimed(budget: Budget, reading: float) -> float:
    """Return the claimed accuracy at a reading, in the channel's unit."""
    return budget.claim_units + budget.claim_percent * reading / 100
