"""The cascade: lower bounds rounded down, last rung by hand with room air, nothing known is left out."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.analysis.reserves.battery import DAY_MS, DischargeTest, proven_minutes
from ingest.analysis.reserves.cascade import CylinderReserve, battery_shortness, cascade
from ingest.analysis.reserves.cylinder import (
    SIZES,
    GaugeReading,
    cylinder_content,
    gas_demand,
    true_rate,
)

NOW_MS = 1_700_000_000_000 + 42_123


def _battery(minutes: float, age_days: float = 10.0):
    test = DischargeTest(at_ms=int(NOW_MS - age_days * DAY_MS), minutes=minutes, load=300.0)
    return proven_minutes(test, now_ms=NOW_MS, recharge_fraction=1.0, load=300.0)


def _cylinder(gauge: float = 137.0, rate=None):
    demand = gas_demand(minute_volume_l_min=5.0, bleed_l_min=1.0, added_oxygen_l_min=2.0)
    return CylinderReserve(content=cylinder_content(SIZES["UK D"], gauge), demand=demand, rate=rate)


def test_rungs_follow_one_another_and_end_by_hand() -> None:
    found = cascade(now_ms=NOW_MS, battery=_battery(14.9), cylinder=_cylinder(), bag_seen_ms=NOW_MS - 1)
    battery, cylinder, hand = found.rungs
    assert battery.minutes_low == 14
    assert cylinder.minutes_low == int(_cylinder().content.low_l / 8.0)
    assert battery.until_ms == (NOW_MS + 14 * 60_000) // 60_000 * 60_000
    assert hand.key == "rung.hand_room_air" and hand.minutes_low is None and hand.until_ms is None
    assert hand.from_ms == cylinder.until_ms and hand.proven
    assert found.minutes_low == 14 + cylinder.minutes_low


def test_bypass_and_missing_entries_promise_nothing_and_say_so() -> None:
    found = cascade(now_ms=NOW_MS, battery=_battery(20), cylinder=None, bag_seen_ms=None, bypass=True)
    assert [rung.minutes_low for rung in found.rungs] == [0, 0, None]
    assert [rung.unknown for rung in found.rungs] == [
        ("battery.bypassed",), ("cylinder.not_entered",), ("hand.bag_not_seen",)
    ]  # fmt: skip
    assert found.lengthen == ()


def test_a_measured_rate_counts_only_when_larger() -> None:
    fast = true_rate(
        SIZES["UK D"], GaugeReading(at_ms=0, gauge_bar=137), GaugeReading(at_ms=600_000, gauge_bar=90)
    )
    slow = true_rate(
        SIZES["UK D"], GaugeReading(at_ms=0, gauge_bar=137), GaugeReading(at_ms=6_000_000, gauge_bar=120)
    )
    assert fast.told and slow.told and slow.high_l_min < 8.0 < fast.rate_l_min
    stated = _cylinder().minutes_low
    assert _cylinder(rate=fast).minutes_low == pytest.approx(_cylinder().content.low_l / fast.high_l_min)
    assert _cylinder(rate=fast).minutes_low < stated == _cylinder(rate=slow).minutes_low


def test_what_would_lengthen_is_sorted_by_gain_and_true() -> None:
    reserve = _cylinder()
    found = {row.key: row.minutes_gained for row in cascade(
        now_ms=NOW_MS, battery=None, cylinder=reserve, bag_seen_ms=None
    ).lengthen}  # fmt: skip
    low = reserve.content.low_l
    # By hand: 8 L/min now; hand ventilation leaves 2; half the oxygen 7; 1 L/min 7; volume 4 gives 7.
    assert found["lengthen.hand_instead_of_drive_gas"] == int(low / 2) - int(low / 8)
    assert found["lengthen.half_oxygen"] == int(low / 7) - int(low / 8)
    assert found["lengthen.minute_volume"] == int(low / 7) - int(low / 8)
    assert list(found.values()) == sorted(found.values(), reverse=True)


def test_a_measured_loss_is_not_wished_away() -> None:
    """Oxygen turned from 2 to 1 L/min saves one litre a minute, whatever else the gauge says is lost."""
    fast = true_rate(
        SIZES["UK D"], GaugeReading(at_ms=0, gauge_bar=137), GaugeReading(at_ms=600_000, gauge_bar=90)
    )
    reserve = _cylinder(rate=fast)
    found = {row.key: row.minutes_gained for row in cascade(
        now_ms=NOW_MS, battery=None, cylinder=reserve, bag_seen_ms=None
    ).lengthen}  # fmt: skip
    low, rate = reserve.content.low_l, fast.high_l_min
    assert rate > 10
    assert found["lengthen.one_l_min"] == int(low / (rate - 1)) - int(low / rate) < 5


@given(minutes=st.floats(0, 120), gauge=st.floats(0, 137), age=st.floats(0, 400))
def test_every_shown_minute_is_a_lower_bound(minutes: float, gauge: float, age: float) -> None:
    battery, cylinder = _battery(minutes, age), _cylinder(gauge)
    found = cascade(now_ms=NOW_MS, battery=battery, cylinder=cylinder, bag_seen_ms=None)
    assert found.rungs[0].minutes_low <= battery.minutes_low <= minutes
    assert found.rungs[1].minutes_low <= cylinder.minutes_low
    for rung in found.rungs[:2]:
        assert rung.until_ms <= rung.from_ms + rung.minutes_low * 60_000 + 60_000
        assert rung.minutes_high is None or rung.minutes_high >= rung.minutes_low


@pytest.mark.parametrize(
    ("minutes", "row"),
    [(10.0, None), (9.99, "short"), (5.0, "short"), (4.99, "very_short"), (0, "very_short")],
)
def test_shortness_of_the_battery(minutes: float, row: str | None) -> None:
    # House rule: short at 10 min, very short at 5 min (common practice, no source).
    assert battery_shortness(minutes) == row
