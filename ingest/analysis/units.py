"""Convert units and hold the hard bounds of everything a person may type in."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from ingest.analysis.refusal import Refused

ATMOSPHERE_BAR: Final = 1.01325
CELSIUS_ZERO_K: Final = 273.15

# One unit of the row in the base unit of its kind. psi: lbf/in2 = 4.4482216152605 N / (0.0254 m)^2;
# cmH2O: conventional value 98.0665 Pa. Both by definition.
_FACTORS: Final[Mapping[str, Mapping[str, float]]] = MappingProxyType(
    {
        "pressure": MappingProxyType(
            {
                "bar": 1e5,
                "psi": 4.4482216152605 / 0.0254**2,
                "kPa": 1e3,
                "MPa": 1e6,
                "cmH2O": 98.0665,
                "hPa": 100.0,
                "mbar": 100.0,
            }
        ),
        "flow": MappingProxyType({"L/min": 1.0, "mL/min": 1e-3, "L/h": 1 / 60}),
        "volume": MappingProxyType({"L": 1.0, "mL": 1e-3}),
        "time": MappingProxyType({"s": 1.0, "min": 60.0, "h": 3600.0}),
        "ratio": MappingProxyType({"%": 1.0}),
        "rate": MappingProxyType({"/min": 1.0}),
        "power": MappingProxyType({"W": 1.0, "kW": 1e3}),
        "charge": MappingProxyType({"Ah": 1.0}),
        "current": MappingProxyType({"A": 1.0}),
        "temperature": MappingProxyType({"°C": 1.0}),
        "count": MappingProxyType({"d": 1.0}),
    }
)

GAUGE_UNITS: Final = ("bar", "psi", "kPa")
CIRCUIT_UNITS: Final = ("cmH2O", "hPa", "mbar")


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """Describe one typed-in quantity: its kind, the unit used inside, hard bounds in that unit."""

    name: str
    kind: str
    unit: str
    low: float
    high: float


def _rows(*rows: tuple[str, str, str, float, float]) -> Mapping[str, Quantity]:
    return MappingProxyType(
        {n: Quantity(name=n, kind=k, unit=u, low=lo, high=hi) for n, k, u, lo, hi in rows}
    )


# Bounds: common practice, no source; wide enough for any real set-up, tight enough for a wrong unit.
QUANTITIES: Final[Mapping[str, Quantity]] = _rows(
    ("cylinder gauge", "pressure", "bar", 0.0, 300.0),
    ("pressure left in the cylinder", "pressure", "bar", 0.0, 50.0),
    ("cylinder water capacity", "volume", "L", 0.2, 80.0),
    ("circuit pressure", "pressure", "cmH2O", -100.0, 150.0),
    ("oxygen flow", "flow", "L/min", 0.0, 30.0),
    ("bleed flow", "flow", "L/min", 0.0, 20.0),
    ("fresh gas flow", "flow", "L/min", 0.0, 30.0),
    ("minute volume", "flow", "L/min", 0.1, 40.0),
    ("reservoir volume", "volume", "L", 0.0, 10.0),
    ("source oxygen purity", "ratio", "%", 15.0, 100.0),
    ("inspired share of the cycle", "ratio", "%", 5.0, 90.0),
    ("oxygen saturation", "ratio", "%", 0.0, 100.0),
    ("pulse", "rate", "/min", 0.0, 350.0),
    ("breath rate", "rate", "/min", 2.0, 80.0),
    ("agent level", "ratio", "%", 0.0, 10.0),
    ("agent in the vaporizer", "volume", "mL", 0.0, 1000.0),
    ("temperature", "temperature", "°C", -30.0, 60.0),
    ("battery capacity", "charge", "Ah", 0.5, 5000.0),
    ("hours of the capacity", "time", "h", 0.5, 100.0),
    ("battery current", "current", "A", 0.01, 1000.0),
    ("load", "power", "W", 1.0, 50000.0),
    ("test length", "time", "min", 0.0, 1440.0),
    ("hours of the counter", "time", "h", 0.0, 200000.0),
    ("days until it is due", "count", "d", 1.0, 3650.0),
)


def convert(value: float, unit: str, to_unit: str) -> float:
    """Convert between two units of the same kind; an unlike pair is our own mistake (KeyError)."""
    for factors in _FACTORS.values():
        if unit in factors and to_unit in factors:
            return value * (factors[unit] / factors[to_unit])
    raise KeyError(f"no conversion from {unit} to {to_unit}")


def checked(name: str, value: object, unit: str | None = None) -> float:
    """Return `value` in the quantity's own unit, or raise Refused with one clear sentence.

    `unit` None means the quantity's own unit. Text, nan, infinity, a unit of another kind and
    anything outside the hard bounds of QUANTITIES are refused.
    """
    row = QUANTITIES[name]
    known = _FACTORS[row.kind]
    given_unit = row.unit if unit is None else unit
    if given_unit not in known:
        raise Refused("refused.unknown_unit", quantity=name, unit=given_unit, known=", ".join(known))
    number = _as_number(value)
    if number is None:
        raise Refused(
            "refused.not_a_number", quantity=name, given=repr(value), low=row.low, high=row.high,
            unit=row.unit,
        )  # fmt: skip
    inside = number * (known[given_unit] / known[row.unit])
    # A bound typed in another unit must not fail for a rounding of the last bit.
    slack = 1e-9 * max(abs(row.low), abs(row.high))
    if not row.low - slack <= inside <= row.high + slack:
        scale = known[row.unit] / known[given_unit]
        key = "refused.negative" if number < 0 <= row.low else "refused.out_of_bounds"
        raise Refused(
            key, quantity=name, given=number, given_unit=given_unit,
            low=row.low * scale, high=row.high * scale,
        )  # fmt: skip
    return min(max(inside, row.low), row.high)


def _as_number(value: object) -> float | None:
    """Read a number a person typed (a comma may be the decimal sign); None when it isn't one."""
    if isinstance(value, bool):
        return None
    if isinstance(value, str):
        value = value.strip().replace(",", ".")
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return None
    return number if math.isfinite(number) else None
