"""Battery: worked values of Peukert's law, UPS sizing, and the proven lower bound."""

import math
from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from firmware_sim.kernels import battery as kernel
from ingest.analysis.refusal import Refused
from ingest.analysis.reserves.battery import (
    DAY_MS,
    DischargeTest,
    constant_power_minutes,
    peukert_minutes,
    peukert_rated_h,
    peukert_raw_h,
    proven_minutes,
    recharged_fraction,
    sizing_w,
)


@pytest.mark.parametrize(("current_a", "hours"), [(5.0, 20.0), (10.0, 8.7055), (20.0, 3.7893)])
def test_peukert_rated_form(current_a: float, hours: float) -> None:
    # 100 Ah at 20 h, k 1.2: form published (P), numbers worked out (D).
    found = peukert_rated_h(capacity_ah=100.0, rated_h=20.0, exponent=1.2, current_a=current_a)
    assert found == pytest.approx(hours, abs=5e-5)


@pytest.mark.parametrize(
    ("capacity_ah", "current_a", "exponent", "hours", "tolerance"),
    [(100.0, 10.0, 1.2, 6.31, 0.005), (250.0, 20.0, 1.3, 5.0886, 5e-5)],
)
def test_peukert_raw_form(
    capacity_ah: float, current_a: float, exponent: float, hours: float, tolerance: float
) -> None:
    # Published calculators (P): C at 1 A.
    found = peukert_raw_h(capacity_ah=capacity_ah, exponent=exponent, current_a=current_a)
    assert found == pytest.approx(hours, abs=tolerance)


def test_peukert_interval_spans_exponent_and_age() -> None:
    span = peukert_minutes(capacity_ah=100.0, rated_h=20.0, chemistry="flooded", current_a=20.0)
    # Corners by hand: t = 20 h (C/400)^k, C 80 or 100 Ah, k 1.2 or 1.6 (published range).
    assert span.low_min == pytest.approx(60 * 20 * 0.2**1.6)
    assert span.high_min == pytest.approx(60 * 20 * 0.25**1.2)
    assert span.low_min < span.middle_min < span.high_min
    with pytest.raises(Refused, match="'lead' is not known"):
        peukert_minutes(capacity_ah=100.0, rated_h=20.0, chemistry="lead", current_a=20.0)


def test_sizing_of_a_ups() -> None:
    # 7.5 kVA × 0.8 = 6.0 kW, / 0.92 = 6.52, × 1.25 = 8.15: UFC 3-520-01 App. E (P; 8.15 D).
    load, battery, aged = sizing_w(apparent_va=7500.0, power_factor=0.8, efficiency=0.92)
    assert (load, round(battery / 1000, 2), round(aged / 1000, 2)) == (6000.0, 6.52, 8.15)


def test_constant_power_without_resistance_is_peukert_at_constant_voltage() -> None:
    # Closed form (definition): a flat EMF of 24 V at 240 W draws 10 A: 8.7055 h by the rated form.
    minutes = constant_power_minutes(
        load_w=240.0, efficiency=1.0, capacity_ah=100.0, rated_h=20.0, exponent=1.2, cells=12,
        resistance_ohm=0.0, emf_full_v=2.0, emf_empty_v=2.0,
    )  # fmt: skip
    assert minutes / 60 == pytest.approx(8.7055, abs=5e-5)


@pytest.mark.parametrize(
    ("load_w", "resistance"), [(150.0, 0.08), (900.0, 0.08), (900.0, 0.35)], ids=["light", "heavy", "cut-off"]
)
def test_constant_power_against_an_ode_solver(load_w: float, resistance: float) -> None:
    cells, power = 24, load_w / 0.9

    def volts_amps(charge: float) -> tuple[float, float]:
        emf = cells * (1.95 + 0.18 * charge)
        amps = (emf - math.sqrt(emf * emf - 4 * resistance * power)) / (2 * resistance)
        return emf - amps * resistance, amps

    def slope(_: float, state: list[float]) -> list[float]:
        return [-1 / (20.0 * (18.0 / (volts_amps(state[0])[1] * 20.0)) ** 1.25)]

    def cutoff(_: float, state: list[float]) -> float:
        return min(state[0], volts_amps(state[0])[0] / cells - 1.67)

    cutoff.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(slope, (0.0, 50.0), [1.0], events=cutoff, rtol=1e-9, atol=1e-12, max_step=0.05)
    found = constant_power_minutes(
        load_w=load_w, efficiency=0.9, capacity_ah=18.0, rated_h=20.0, exponent=1.25, cells=cells,
        resistance_ohm=resistance,
    )  # fmt: skip
    assert found == pytest.approx(60 * solved.t_events[0][0], rel=2e-3)


def test_a_load_the_battery_cannot_carry_gives_nothing() -> None:
    assert (
        constant_power_minutes(
            load_w=50_000.0, efficiency=0.9, capacity_ah=7.0, rated_h=20.0, exponent=1.2, cells=6,
            resistance_ohm=0.05,
        )
        == 0.0
    )  # fmt: skip


def test_recharge_follows_the_handbook_steps() -> None:
    # Bulk to about 85 %: UPS handbook, McGraw-Hill 2004, p. 197 (P); the split of the time: practice (C).
    assert recharged_fraction(0.0, 0.6 * 8, 8) == pytest.approx(0.85)
    assert recharged_fraction(0.0, 0.3 * 8, 8) == pytest.approx(0.425)
    assert recharged_fraction(0.0, 8.0, 8) == 1.0


@pytest.mark.parametrize(
    ("days", "recharge_h", "hours"), [(0, 8, 2.0), (100, 8, 6.5), (400, 4, 1.0), (900, 1, 0.9)]
)
def test_the_module_reckons_the_same(days: int, recharge_h: int, hours: float) -> None:
    state = array("i", [0] * kernel.BATTERY_STATE)
    state[kernel.PROVEN_S], state[kernel.TEST_AGE_D], state[kernel.AGE_MAX_D] = 1200, days, 180
    state[kernel.RECHARGE_S] = 3600 * recharge_h
    for _ in range(int(3600 * hours)):
        kernel.battery_second(state, kernel.NORMAL, kernel.NORMAL)
    bound = proven_minutes(
        DischargeTest(at_ms=0, minutes=20.0, load=1.0), now_ms=days * DAY_MS, load=1.0,
        recharge_fraction=recharged_fraction(0.0, hours, recharge_h),
    )  # fmt: skip
    # Whole seconds, integers: the module may be up to a second or two in a thousand lower.
    assert state[kernel.LEFT_S] == pytest.approx(60 * bound.minutes_low, rel=2e-3, abs=1.5)
    assert bool(state[kernel.PROVEN]) is bound.proven


@given(start=st.floats(0, 1), first=st.floats(0, 60), more=st.floats(0, 60))
def test_recharge_never_falls(start: float, first: float, more: float) -> None:
    before = recharged_fraction(start, first)
    assert start <= before + 1e-12
    assert before <= recharged_fraction(start, first + more) + 1e-12 <= 1.0 + 1e-12


TEST = DischargeTest(at_ms=0, minutes=20.0, load=400.0)


def test_proven_bound_multiplies_test_recharge_and_ageing() -> None:
    now_ms = 100 * DAY_MS
    bound = proven_minutes(TEST, now_ms=now_ms, recharge_fraction=0.5, load=400.0)
    # By hand: 20 × 0.5 × (1 − 0.1 × 100/365).
    assert bound.minutes_low == pytest.approx(20 * 0.5 * (1 - 0.1 * 100 / 365))
    assert bound.proven and bound.unknown == ()


@pytest.mark.parametrize(("days", "proven"), [(0, True), (180, True), (181, False), (-1, False)])
def test_a_test_proves_for_180_days(days: int, proven: bool) -> None:
    bound = proven_minutes(TEST, now_ms=days * DAY_MS, recharge_fraction=1.0, load=400.0)
    assert bound.proven is proven
    assert bool(bound.unknown) is not proven


def test_load_shortens_but_never_lengthens() -> None:
    heavy = proven_minutes(TEST, now_ms=0, recharge_fraction=1.0, load=800.0)
    light = proven_minutes(TEST, now_ms=0, recharge_fraction=1.0, load=100.0)
    # Peukert's rated form, exponent 1.6 the worst published; the module's roots lie 2 % beyond it.
    assert 20 * 0.5**1.65 < heavy.minutes_low <= 20 * 0.5**1.6
    assert light.minutes_low == 20.0


def test_without_a_test_nothing_is_promised() -> None:
    bound = proven_minutes(None, now_ms=0, recharge_fraction=1.0)
    assert (bound.minutes_low, bound.proven, bound.unknown) == (0.0, False, ("battery.never_tested",))
    assert "battery.load_unknown" in proven_minutes(TEST, now_ms=0, recharge_fraction=1.0).unknown
