"""Cylinder: worked examples of courses and papers, and the reference gas library."""

import math

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from ingest.analysis.refusal import Refused
from ingest.analysis.reserves.cylinder import (
    SIZES,
    GaugeReading,
    cylinder_content,
    cylinder_of_size,
    cylinder_of_water_capacity,
    gas_demand,
    minutes_at,
    true_rate,
)
from ingest.analysis.reserves.oxygen_gas import density_mol_m3, litres_per_litre, litres_per_litre_ideal


@pytest.mark.parametrize("temperature_c", [-30.0, 0.0, 15.0, 20.0, 45.0, 60.0])
@pytest.mark.parametrize("pressure_bar", [0.5, 1.01325, 20.0, 138.01325, 231.0, 301.0])
def test_density_against_the_reference_library(pressure_bar: float, temperature_c: float) -> None:
    reference = PropsSI("Dmolar", "P", pressure_bar * 1e5, "T", temperature_c + 273.15, "Oxygen")
    assert density_mol_m3(pressure_bar, temperature_c) == pytest.approx(reference, rel=1e-8)


def test_litres_per_litre_at_137_bar() -> None:
    # 146.24 real, 136.21 ideal, Z 0.93: worked out with CoolProp (check value, status D).
    assert litres_per_litre(137.0, 15.0) == pytest.approx(146.24, abs=0.005)
    assert litres_per_litre_ideal(137.0, 15.0) == pytest.approx(136.21, abs=0.005)
    z = litres_per_litre_ideal(137.0, 15.0) / litres_per_litre(137.0, 15.0)
    assert z == pytest.approx(0.93, abs=0.005)


def test_uk_cd_ideal_460_real_485() -> None:
    # CD 460 L at 230 bar is the ideal 2 L × 230; real gas 485: transport-planning paper (P), 485 (D).
    content = cylinder_content(cylinder_of_size("UK CD"), 230.0, left_bar=0.0)
    assert content.factor_l == 460.0
    assert content.real_l + 2.0 == pytest.approx(485.0, abs=0.2)  # the 2 L at one atmosphere stay behind
    assert content.used_l == min(content.factor_l, content.ideal_l, content.real_l)
    assert content.used_rule == "ideal"  # 2 L × 230 bar / 1.01325: 454 L at one atmosphere


@pytest.mark.parametrize(("size", "litres"), [("UK D", 340.0), ("UK F", 1360.0)])
def test_uk_sizes_hold_their_published_content(size: str, litres: float) -> None:
    # D 340 L, F 1360 L at 137 bar gauge and 15 °C: transport-planning paper (P).
    assert cylinder_content(cylinder_of_size(size), 137.0, left_bar=0.0).factor_l == pytest.approx(litres)
    assert SIZES[size].water_l * litres_per_litre(137.0, 15.0) == pytest.approx(litres)


def test_us_course_worked_example() -> None:
    # D 2000 psi, leave 200 psi: 288 L; 576 min at 0.5 L/min. US Army course MD0542 (P).
    content = cylinder_content(cylinder_of_size("US D"), 2000.0, gauge_unit="psi")
    assert content.factor_l == pytest.approx(288.0, abs=1e-6)
    assert minutes_at(content.factor_l, 0.5) == pytest.approx(576.0, abs=1e-5)


@pytest.mark.parametrize(
    ("size", "litres"),
    [("US D", 160.0), ("US E", 280.0), ("US G", 2410.0), ("US H/K", 3140.0), ("US M", 1560.0)],
)
def test_us_factors(size: str, litres: float) -> None:
    # L/psi: D 0.16, E 0.28, G 2.41, H/K 3.14, M 1.56, and 200 psi are left. US Army course MD0542 (P).
    content = cylinder_content(cylinder_of_size(size), 1200.0, gauge_unit="psi")
    assert content.factor_l == pytest.approx(litres)


def test_us_teaching_text_worked_example() -> None:
    # E 1000 psi, 2 L/min, none left, factor 0.28: 140 min. Respiratory-therapy teaching text (P).
    content = cylinder_content(cylinder_of_size("US E"), 1000.0, gauge_unit="psi", left_bar=0.0)
    assert minutes_at(content.factor_l, 2.0) == pytest.approx(140.0, abs=1e-6)


def test_drive_gas_is_a_term() -> None:
    # 340 L last 170 min at 2 L/min and 42 min at 8: bellows of 6 L/min, arithmetic (D).
    assert minutes_at(340.0, gas_demand(added_oxygen_l_min=2.0).total_l_min) == 170.0
    with_bellows = gas_demand(minute_volume_l_min=5.0, bleed_l_min=1.0, added_oxygen_l_min=2.0)
    assert math.floor(minutes_at(340.0, with_bellows.total_l_min)) == 42


def test_six_hours_of_a_small_cylinder_mean_little_flow() -> None:
    # 340 L for 6 h is 0.94 L/min (common practice figure, C): with drive gas it is never six hours.
    assert minutes_at(340.0, 0.94) == pytest.approx(360.0, rel=0.006)


@given(
    gauge=st.floats(1.0, 137.0), warm=st.floats(-20.0, 45.0), left=st.floats(0.0, 14.0),
    size=st.sampled_from(sorted(SIZES)),
)  # fmt: skip
def test_bounds_enclose_the_figure_used(gauge: float, warm: float, left: float, size: str) -> None:
    content = cylinder_content(SIZES[size], gauge, temperature_c=warm, left_bar=left)
    assert 0.0 <= content.low_l <= content.used_l <= content.high_l
    assert content.used_l == min(content.ideal_l, content.real_l, content.factor_l)


def test_the_true_rate_from_two_readings() -> None:
    # 8 L/min for 10 min from a UK D at 137 bar: end pressure found with the reference library.
    cylinder = cylinder_of_size("UK D")
    reference = PropsSI("Dmolar", "P", 101325.0, "T", 288.15, "Oxygen")
    held = PropsSI("Dmolar", "P", 138.01325e5, "T", 288.15, "Oxygen") / reference * cylinder.water_l
    end_pa = PropsSI("P", "Dmolar", (held - 80.0) / cylinder.water_l * reference, "T", 288.15, "Oxygen")
    end_bar = end_pa / 1e5 - 1.01325
    first = GaugeReading(at_ms=0, gauge_bar=137.0)
    rate = true_rate(cylinder, first, GaugeReading(at_ms=600_000, gauge_bar=end_bar))
    assert rate.rate_l_min == pytest.approx(8.0, abs=1e-4)
    assert rate.told and rate.low_l_min < 8.0 < rate.high_l_min
    # Reading errors of 2 bar each, opposite ways: 4 bar of 2.3 L over 10 min is about 1 L/min.
    assert rate.high_l_min - rate.rate_l_min == pytest.approx(1.0, abs=0.1)


def test_a_fall_within_the_reading_error_tells_no_rate() -> None:
    rate = true_rate(
        SIZES["UK D"], GaugeReading(at_ms=0, gauge_bar=100.0), GaugeReading(at_ms=60_000, gauge_bar=98.0)
    )
    assert not rate.told and rate.low_l_min == 0.0 < rate.high_l_min


def _at(at_ms: int, gauge_bar: float) -> GaugeReading:
    return GaugeReading(at_ms=at_ms, gauge_bar=gauge_bar)


@pytest.mark.parametrize(
    ("call", "part"),
    [
        (lambda: cylinder_of_size("Q7"), "Cylinder size 'Q7' is not known; use one of US D"),
        (lambda: cylinder_content(SIZES["UK D"], 4000.0), "4000 bar is outside 0 to 300 bar"),
        (lambda: cylinder_content(SIZES["UK D"], 290.0), "more than a size UK D cylinder is filled to"),
        (lambda: gas_demand(added_oxygen_l_min=-1.0), "-1 L/min is negative"),
        (lambda: cylinder_of_water_capacity(500.0), "500 L is outside"),
        (
            lambda: true_rate(SIZES["UK D"], _at(5, 90.0), _at(5, 80.0)),
            "not later",
        ),
        (
            lambda: true_rate(SIZES["UK D"], _at(0, 90.0), _at(9, 99.0)),
            "rose from 90 to 99 bar",
        ),
    ],
)  # fmt: skip
def test_nonsense_is_refused(call, part: str) -> None:
    with pytest.raises(Refused) as refused:
        call()
    assert part in str(refused.value)


def test_a_stamped_capacity_gives_litres_times_bar() -> None:
    content = cylinder_content(cylinder_of_water_capacity(10.0), 150.0, left_bar=0.0)
    assert content.factor_l == 1500.0
