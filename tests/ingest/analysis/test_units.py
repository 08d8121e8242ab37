"""Units and hard bounds: conversions by definition, nonsense refused with a sentence."""

import math

import pytest

from ingest.analysis.refusal import SENTENCES, Refused
from ingest.analysis.units import QUANTITIES, checked, convert


@pytest.mark.parametrize(
    ("value", "unit", "to_unit", "expected"),
    [
        (1.0, "cmH2O", "hPa", 0.980665),  # conventional value 98.0665 Pa, definition
        (1.0, "hPa", "mbar", 1.0),  # definition
        (1.0, "psi", "kPa", 6.894757293168),  # NIST SP 811, from memory
        (137.0, "bar", "kPa", 13700.0),  # definition
        (2000.0, "psi", "bar", 137.8951458634),  # NIST SP 811, from memory
        (90.0, "L/h", "L/min", 1.5),
    ],
)
def test_conversions(value: float, unit: str, to_unit: str, expected: float) -> None:
    assert convert(value, unit, to_unit) == pytest.approx(expected, rel=1e-12)
    assert convert(expected, to_unit, unit) == pytest.approx(value, rel=1e-12)


def test_unlike_units_are_our_own_mistake() -> None:
    with pytest.raises(KeyError):
        convert(1.0, "bar", "L/min")


@pytest.mark.parametrize(
    ("name", "value", "unit", "part"),
    [
        ("cylinder gauge", 4000, "bar", "4000 bar is outside 0 to 300 bar"),
        ("cylinder gauge", 60000, "psi", "60000 psi is outside 0 to 4351.13 psi"),
        ("oxygen flow", -2, None, "-2 L/min is negative"),
        ("oxygen flow", -0.5, "L/h", "-0.5 L/h is negative"),
        ("oxygen flow", "two", None, "'two' is not a number"),
        ("oxygen flow", math.nan, None, "nan is not a number"),
        ("oxygen flow", True, None, "True is not a number"),
        ("oxygen flow", None, None, "None is not a number"),
        ("cylinder gauge", 10, "L", "unit L is not known"),
        ("source oxygen purity", 101, None, "101 % is outside 15 to 100 %"),
        ("temperature", -40, None, "-40 °C is outside -30 to 60 °C"),
    ],
)
def test_nonsense_is_one_clear_sentence(name: str, value: object, unit: str | None, part: str) -> None:
    with pytest.raises(Refused) as refused:
        checked(name, value, unit)
    text = str(refused.value)
    assert part in text and text.startswith(name) and text.endswith(".") and "\n" not in text
    assert refused.value.key in SENTENCES


@pytest.mark.parametrize("row", QUANTITIES.values(), ids=lambda row: row.name)
def test_bounds_themselves_pass_and_just_beyond_fails(row) -> None:
    for bound, beyond in ((row.low, -1.0), (row.high, 1.0)):
        assert checked(row.name, bound) == bound
        with pytest.raises(Refused):
            checked(row.name, bound + beyond * 1e-3 * max(1.0, abs(bound)))


def test_a_decimal_comma_is_read() -> None:
    assert checked("oxygen flow", " 1,5 ") == 1.5


def test_the_upper_bound_in_another_unit_passes() -> None:
    assert checked("cylinder gauge", convert(300.0, "bar", "psi"), "psi") == pytest.approx(300.0)
