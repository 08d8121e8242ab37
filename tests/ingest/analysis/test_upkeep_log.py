"""The maintenance log: what is due, the counter's hours, and wear with its interval against planted lines."""

from types import SimpleNamespace

import numpy as np
import pytest

from ingest.analysis.refusal import Refused
from ingest.analysis.upkeep import PARTS, due_list, entries, entry, hours_now
from ingest.analysis.upkeep_trends import ages_faster, battery_points, slope_of, trend

DAY = 86_400_000
NOW = 20_500 * DAY


def log(*told):
    return entries(
        SimpleNamespace(
            utc=NOW - round(days * DAY), author="AB", text="", kind=data.get("kind", "upkeep"), data=data
        )
        for days, data in told
    )


def state(found, part, now=NOW):
    return next(one for one in found if one.part == part).state(now)


def test_what_is_due_by_the_calendar():
    book = log((6.9, {"part": "filter", "deed": "cleaned"}), (800, {"part": "cell", "deed": "changed"}))
    found = due_list(book, NOW, {})
    assert state(found, "filter") == "soon"
    assert state(due_list(book, NOW + DAY, {}), "filter", NOW + DAY) == "due"
    assert found[0].part == "cell"
    assert state(found, "battery") == "never"


def test_the_modules_own_days_count_when_they_are_newer():
    """A discharge test proven by the module is due again after its own interval (180 d: trade)."""
    own = {"battery.proven_day": 20_400.0, "battery.proven_age_max": 180.0}
    found = next(one for one in due_list([], NOW, own) if one.part == "battery")
    assert (found.last_ms, found.due_ms) == (20_400 * DAY, 20_580 * DAY)
    book = log((10, {"part": "battery", "deed": "tested", "due_days": 30}))
    found = next(one for one in due_list(book, NOW, own) if one.part == "battery")
    assert (found.due_ms - NOW) // DAY == 20


def test_calibrations_and_passed_discharge_tests_belong_to_the_log():
    result = {"kind": "check", "do": "result", "step": "discharge", "state": "passed", "value": 16.0}
    calibrated = {"kind": "calibration", "channel": "supply_in"}
    others = (result | {"state": "failed"}, result | {"step": "hold"}, {"kind": "check", "do": "begin"})
    book = log((3, calibrated), (2, result), *((1, one) for one in others))
    assert [(one.part, one.deed, one.text) for one in book] == [
        ("calibration", "done", "supply in"), ("battery", "tested", "16 min"),
    ]  # fmt: skip


def test_hours_come_from_the_counter():
    book = log((100, {"part": "sieve", "deed": "changed", "hours": 1000}),
               (50, {"part": "concentrator", "deed": "hours_read", "hours": 1600}))  # fmt: skip
    low, high = hours_now(book, NOW)
    # At least as read; at most as if it had never stood still: 50 d of 24 h (definition).
    assert (low, high) == (1600, 1600.5 + 1200)
    sieve = next(one for one in due_list(book, NOW, {}) if one.part == "sieve")
    assert sieve.hours_left == 1000 + PARTS["sieve"].hours - high
    assert hours_now([], NOW) is None


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({"part": "engine", "deed": "changed"}, "There is no part 'engine'"),
        ({"part": "filter", "deed": "painted"}, "'painted' can't be done to it"),
        ({"part": "concentrator", "deed": "hours_read"}, "needs its hours"),
        ({"part": "concentrator", "deed": "hours_read", "hours": "-3"}, "negative"),
        ({"part": "concentrator", "deed": "hours_read", "hours": "four"}, "not a number"),
        ({"part": "concentrator", "deed": "hours_read", "hours": "1500"}, "can't go back from 1600"),
        ({"part": "filter", "deed": "cleaned", "due_days": "99999"}, "outside 1 to 3650"),
    ],
)
def test_nonsense_is_refused_in_one_sentence(told, said):
    book = log((50, {"part": "concentrator", "deed": "hours_read", "hours": 1600}))
    with pytest.raises(Refused, match=said):
        entry(**told, before=book)


def test_a_planted_slope_and_bend_are_found():
    rng = np.random.default_rng(3)
    days = np.arange(90.0)
    steady = 93.0 - 0.005 * days + rng.normal(0, 0.3, 90)
    found = trend(list(zip(days.tolist(), steady.tolist(), strict=True)))
    assert found.bend_day is None
    assert found.slope.low <= -0.005 <= found.slope.high
    bent = steady - np.maximum(0, days - 45) * 0.06
    found = trend(list(zip(days.tolist(), bent.tolist(), strict=True)))
    assert found.bend_day == pytest.approx(45, abs=10)
    assert found.after.low <= -0.065 <= found.after.high
    assert found.after.each_day < found.before.each_day
    assert slope_of([(0.0, 1.0)] * 4) is None


def test_a_battery_that_falls_faster_than_reckoned():
    from firmware_sim.contract.settings import ID_OF, defaults

    def settings(day, minutes):
        values = defaults()
        values[ID_OF["battery.proven_day"]], values[ID_OF["battery.proven_minutes"]] = day, minutes
        return SimpleNamespace(values=values)

    tests = battery_points([settings(20_000, 30), settings(20_000, 30), settings(20_182, 28)], None)
    assert tests == [(20_000.0, 30.0), (20_182.0, 28.0)]
    # 10 % a year over half a year leaves 28.5 of 30 min (common practice).
    assert not ages_faster(tests)
    assert ages_faster([*tests, (20_365.0, 25.0)])
    assert battery_points([settings(20_000, 30), settings(20_182, 28)], 20_100 * DAY) == [(20_182.0, 28.0)]
