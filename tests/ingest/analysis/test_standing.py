"""How reserves stand in a store: the module's bound less time, the state's say, entries and their age."""

from dataclasses import dataclass, field
from types import SimpleNamespace as Row

import pytest

from firmware_sim.contract.channels import OXYGEN_STATES, SUPPLY_STATES
from firmware_sim.contract.messages import FLAG_BATTERY_BY_VOLTAGE, FLAG_BATTERY_PROVEN
from firmware_sim.contract.settings import ID_OF, defaults
from ingest.analysis.hand import hand_entry
from ingest.analysis.refusal import Refused
from ingest.analysis.reserves.battery import DAY_MS
from ingest.analysis.reserves.entries import (
    agent_entry,
    bag_entry,
    battery_entry,
    cylinder_entry,
    entered,
    flow_entry,
    mixture_entry,
)
from ingest.analysis.reserves.standing import standing

NOW = 20_000 * DAY_MS + 43_200_000
HOUR = 3_600_000


@dataclass
class Store:
    """A store's reader with one trend, settings, marks and supply bands."""

    left_s: float | None = 1200.0
    state: str = "normal"
    oxygen: str = "current"
    age_ms: int = 1000
    minutes: int = 30
    tested_days_ago: int = 10
    notes: list = field(default_factory=list)
    states: list = field(default_factory=list)
    by_hand: list = field(default_factory=list)
    breathed: tuple | None = None
    purity: float | None = None
    amperes: float | None = None
    tested_amperes: float = 0.0
    tested_minutes: int = 30
    by_voltage: bool = False
    later_settings: bool = True

    def latest(self, module):
        codes = {"supply_state": SUPPLY_STATES.index(self.state), "oxygen_state":
                 OXYGEN_STATES.index(self.oxygen), "flags":
                 FLAG_BATTERY_PROVEN | FLAG_BATTERY_BY_VOLTAGE * self.by_voltage}  # fmt: skip
        readings = {"battery": self.left_s, "oxygen": self.purity, "ups_current": self.amperes}
        return Row(t=NOW - self.age_ms, codes=codes, readings=readings)

    def settings_at(self, module, utc_ms):
        values = list(defaults())
        values[ID_OF["battery.proven_minutes"]] = self.minutes
        values[ID_OF["battery.proven_day"]] = 20_000 - self.tested_days_ago
        values[ID_OF["discharge.minutes"]] = self.tested_minutes
        values[ID_OF["discharge.load"]] = round(100 * self.tested_amperes)
        return Row(values=tuple(values if self.later_settings else values[: ID_OF["discharge.minutes"]]))

    def marks(self, module=None, *, kind=None):
        return [Row(utc=NOW - ago, data=data) for ago, data in
                (self.by_hand if kind == "hand" else self.notes)]  # fmt: skip

    def breaths(self, module, start, end):
        """Return nothing, or one kind of breath: rate (/min), ti, te (ms)."""
        return {} if self.breathed is None else dict(zip(("rate", "ti", "te"), self.breathed, strict=True))

    def bands(self, module, start, end, column):
        return [Row(start=NOW - a, end=NOW - b, code=SUPPLY_STATES.index(s)) for a, b, s in self.states]


def battery(**told):
    found = standing(Store(**told), 1, NOW)
    return found.cascade.rungs[0]


def test_the_modules_own_bound_counts():
    rung = battery()
    assert (rung.minutes_low, rung.proven) == (20, True)


def test_an_old_reading_loses_all_time_since_and_its_proof():
    rung = battery(age_ms=5 * 60_000)
    assert (rung.minutes_low, rung.proven) == (15, False)
    assert "battery.reading_old" in rung.unknown
    assert battery(age_ms=HOUR).minutes_low == 0


@pytest.mark.parametrize(
    ("state", "minutes", "note"),
    [
        ("undetermined", 20, "battery.support_not_proven"),
        ("bypass", 0, "battery.bypassed"),
        ("dead", 0, "battery.output_dead"),
    ],
)
def test_the_supply_state_has_its_say(state, minutes, note):
    rung = battery(state=state)
    assert rung.minutes_low == minutes
    assert note in rung.unknown
    assert state == "bypass" or not rung.proven


def test_load_and_voltage_are_the_modules_own_figures_and_are_named():
    assert "battery.load_unknown" in battery().unknown
    measured = battery(amperes=1.5, tested_amperes=1.5)
    assert "battery.load_unknown" not in measured.unknown
    # 20 min of 30 at double the load: the module has counted that already.
    assert battery(amperes=3.0, tested_amperes=1.5, left_s=600.0).minutes_low == 10
    assert battery(state="stored_energy", by_voltage=True).unknown[0] == "battery.by_voltage"
    # What was measured in another test than the one in force tells nothing.
    assert "battery.load_unknown" in battery(amperes=1.5, tested_amperes=1.5, tested_minutes=29).unknown


def test_without_a_reading_of_the_module_the_same_kernel_shortens_by_the_load():
    charged = [(20 * HOUR, 0, "normal")]
    told = {"left_s": None, "states": charged, "tested_days_ago": 0, "tested_amperes": 1.5}
    # Half a day of ageing is gone from the 30 min.
    assert battery(**told, amperes=1.5).minutes_low == 29
    assert battery(**told, amperes=3.0).minutes_low == int(29.99 * 0.5**1.625)


def test_a_record_of_an_older_module_has_no_later_settings():
    assert battery(amperes=1.5, later_settings=False).minutes_low == 20


def test_never_tested_promises_nothing_even_with_a_reading():
    rung = battery(minutes=0)
    assert (rung.minutes_low, rung.proven) == (0, False)
    assert "battery.never_tested" in rung.unknown


def test_without_a_reading_the_record_tells_the_recharge():
    # Bulk charge, 85 %, in 60 % of 8 h (the module's rule): 2.4 h of it give 42.5 %.
    broken = [(10 * HOUR, round(2.4 * HOUR), "stored_energy"), (round(2.4 * HOUR), 0, "normal")]
    rung = battery(left_s=None, states=broken, tested_days_ago=0)
    assert rung.minutes_low == int(30 * 0.425)
    assert "battery.recharge" in rung.unknown
    hole = [(10 * HOUR, 3 * HOUR, "normal"), (HOUR, 0, "normal")]
    assert battery(left_s=None, states=hole, tested_days_ago=0).minutes_low == int(30 * 0.85 / 4.8)
    assert battery(left_s=None, tested_days_ago=0).minutes_low == 0


def test_a_battery_never_tested_is_reckoned_by_peukert_with_its_interval():
    told = (HOUR, battery_entry(capacity="100", hours="20", chemistry="flooded", current="20"))
    full = [(20 * HOUR, 0, "normal")]
    rung = battery(notes=[told], minutes=0, left_s=None, states=full)
    # Corners by hand: t = 20 h (C/400)^k, C 80 or 100 Ah, k 1.2 or 1.6 (published range).
    assert rung.minutes_low == int(60 * 20 * 0.2**1.6)
    assert rung.minutes_high == int(60 * 20 * 0.25**1.2)
    assert not rung.proven and rung.unknown[0] == "battery.peukert_only"
    # Half-way through the bulk charge after it was last empty: 42.5 % of the Ah, worst exponent.
    half = [(10 * HOUR, round(2.4 * HOUR), "stored_energy"), (round(2.4 * HOUR), 0, "normal")]
    rung = battery(notes=[told], minutes=0, left_s=None, states=half)
    assert rung.minutes_low == int(60 * 20 * (0.2 * 0.425) ** 1.6)
    # An old record loses all time since; in bypass and dead nothing stands behind the output.
    old = battery(notes=[told], minutes=0, left_s=None, states=full, age_ms=10 * 60_000)
    assert old.minutes_low == int(60 * 20 * 0.2**1.6) - 10
    for state in ("bypass", "dead"):
        assert battery(notes=[told], minutes=0, left_s=None, states=full, state=state).minutes_low == 0
    # A proven discharge counts instead.
    assert battery(notes=[told]).minutes_low == 20


@pytest.mark.parametrize(
    ("odd", "sentence"),
    [
        ({"capacity": "0"}, "battery capacity: 0 Ah is outside 0.5 to 5000 Ah"),
        ({"hours": "-20"}, "hours of the capacity: -20 h is negative"),
        ({"current": "4000"}, "battery current: 4000 A is outside 0.01 to 1000 A"),
        ({"current": ""}, "battery current: '' is not a number"),
        ({"chemistry": "lithium"}, "'lithium' is not known"),
    ],
)
def test_a_battery_that_makes_no_sense_is_refused(odd, sentence):
    told = {"capacity": "100", "hours": "20", "chemistry": "agm", "current": "10"}
    with pytest.raises(Refused, match=sentence):
        battery_entry(**told | odd)


GAUGE = cylinder_entry(size="UK D", water_l=None, gauge=137, unit="bar")
FLOW = flow_entry(oxygen=2, minute_volume=5, bleed=1)


def cylinder(*notes, **told):
    found = standing(Store(notes=list(notes), **told), 1, NOW)
    return found.cascade.rungs[1], found


def test_a_gauge_without_a_flow_promises_nothing():
    rung, _ = cylinder((HOUR, GAUGE))
    assert (rung.minutes_low, rung.unknown) == (0, ("cylinder.flow_not_entered",))
    rung, _ = cylinder()
    assert rung.unknown == ("cylinder.not_entered",)


def test_what_a_running_cylinder_gave_since_the_gauge_is_taken_off():
    still, _ = cylinder((600_000, GAUGE), (HOUR, FLOW))
    used, _ = cylinder((600_000, GAUGE), (HOUR, FLOW), oxygen="probably_cylinder")
    assert used.minutes_low == still.minutes_low - 10
    assert "cylinder.in_use" in used.unknown
    old, _ = cylinder((13 * HOUR, GAUGE), (HOUR, FLOW))
    assert "cylinder.gauge_old" in old.unknown


def test_two_readings_of_one_cylinder_give_a_rate_and_a_new_one_none():
    lower = GAUGE | {"gauge_bar": 97.0}
    _, found = cylinder((HOUR, GAUGE), (HOUR // 2, lower), (HOUR, FLOW))
    assert found.entered.rate.minutes_between == 30
    _, found = cylinder((HOUR, lower), (HOUR // 2, GAUGE), (HOUR, FLOW))
    assert found.entered.rate is None, "a gauge that rose is another cylinder"
    other = cylinder_entry(size="UK F", water_l=None, gauge=90, unit="bar")
    assert entered(Store(notes=[(HOUR, GAUGE), (0, other)]).marks()).rate is None


def test_entries_that_cannot_be_read_are_counted_and_later_ones_do_not_count_yet():
    nobodys = {"what": "cylinder", "size": "XXL", "gauge_bar": 1}
    bad = [(1, nobodys), (2, {"what": "?"}), (3, {"what": "flow"})]
    found = entered(Store(notes=[(5, bag_entry()), *bad]).marks())
    assert (found.unreadable, found.bag_seen_ms) == (3, NOW - 5)
    assert standing(Store(notes=[(-HOUR, bag_entry())]), 1, NOW).entered.bag_seen_ms is None


@pytest.mark.parametrize(
    "told",
    [
        {"size": "XXL", "water_l": "", "gauge": "100", "unit": "bar"},
        {"size": "UK D", "water_l": "", "gauge": "4000", "unit": "bar"},
        {"size": "UK D", "water_l": "900", "gauge": "100", "unit": "bar"},
        {"size": "UK D", "water_l": "", "gauge": "", "unit": "bar"},
        {"size": "UK D", "water_l": "", "gauge": "100", "unit": "stone"},
    ],
)
def test_nonsense_is_no_entry(told):
    with pytest.raises(Refused):
        cylinder_entry(**told)
    with pytest.raises(Refused):
        flow_entry(oxygen="-1", minute_volume="", bleed="")


def test_units_of_an_entry_end_in_bar():
    # 1 bar = 14.5038 psi = 100 kPa (definition).
    assert cylinder_entry(size="US E", water_l="", gauge="1450,38", unit="psi")["gauge_bar"] == 100.0
    assert cylinder_entry(size="", water_l="10", gauge="10000", unit="kPa")["gauge_bar"] == 100.0


OXYGEN = (HOUR, flow_entry(oxygen="4", minute_volume="", bleed=""))
TUBE = (HOUR, mixture_entry(minute_volume="6", reservoir="0.178"))


def at_bed(**told):
    return standing(Store(**{"purity": 93.0, "breathed": ([15.0], [4000 / 3], [8000 / 3])} | told), 1, NOW)


def test_the_mixture_lives_on_the_modules_purity_and_pattern():
    # Q·Te at 15/min, Ti/Ttot 1/3, 4 L/min: 4 x (2/3)/15 = 0.1778 L; FiO2 = [0.21 (MV - Q) + p Q]/MV (P).
    found = at_bed(notes=[OXYGEN, TUBE]).mixture
    assert (found.rate_min, found.share_percent) == (15.0, pytest.approx(100 / 3))
    assert found.here.rule == "mixture.reservoir"
    assert found.lowest == pytest.approx((0.21 * 2 + 0.93 * 4) / 6)
    short = at_bed(notes=[OXYGEN, (HOUR, mixture_entry(minute_volume="6", reservoir="0.177"))]).mixture
    # 0.21 + (p - 0.21)(Q/MV)(Ti/Ttot): mass balance (D).
    assert short.here.rule == "mixture.no_reservoir"
    assert short.lowest == pytest.approx(0.21 + 0.72 * 4 / 6 / 3)
    richer = at_bed(notes=[OXYGEN, TUBE], purity=95.0).mixture
    assert richer.lowest == pytest.approx((0.21 * 2 + 0.95 * 4) / 6)


def test_without_a_breath_nobody_knows_whether_the_tube_is_long_enough():
    found = at_bed(notes=[OXYGEN, TUBE], breathed=None).mixture
    assert found.here is None
    assert "mixture.no_pattern" in found.unknown
    assert found.lowest == found.without_reservoir < found.with_reservoir


@pytest.mark.parametrize(
    ("told", "missing"),
    [
        ({"notes": [OXYGEN]}, ("mixture.not_entered",)),
        ({"notes": [TUBE]}, ("cylinder.flow_not_entered",)),
        ({"notes": [OXYGEN, TUBE], "purity": None}, ("mixture.purity_not_current",)),
        # Stagnant gas says nothing of the gas that flows.
        ({"notes": [OXYGEN, TUBE], "oxygen": "not_current"}, ("mixture.purity_not_current",)),
        ({}, ("mixture.not_entered", "cylinder.flow_not_entered")),
    ],
)
def test_a_mixture_that_lacks_something_is_none_and_says_what(told, missing):
    found = at_bed(**told)
    assert found.mixture is None
    assert found.mixture_missing == missing


def vaporizer(ago, **other):
    told = {"agent": "isoflurane", "level": "1.5", "filling": "125", "carrier": "4", "draw_over": False}
    return ago, agent_entry(**told | other)


def test_the_filling_is_used_up_from_when_it_was_read():
    # 125 mL isoflurane, 4 L/min, 1.5 %: 18.46 mL/h, 6.77 h (D).
    fresh = at_bed(notes=[vaporizer(0)]).agent
    assert fresh.use.exact_ml_h == pytest.approx(18.46, abs=0.005)
    assert fresh.minutes_low == int(6.77 * 60)
    later = at_bed(notes=[vaporizer(2 * HOUR)]).agent
    assert later.left_ml == pytest.approx(125 - 2 * 18.46, abs=0.02)
    assert later.minutes_low == fresh.minutes_low - 120
    assert at_bed(notes=[vaporizer(20 * HOUR)]).agent.minutes_low == 0
    # Draw-over: the carrier is the minute volume; 1.5 % at MV 6: 27.7 mL/h (D).
    drawn = at_bed(notes=[vaporizer(0, carrier="6", draw_over=True)]).agent
    assert drawn.use.exact_ml_h == pytest.approx(27.7, abs=0.05)
    assert at_bed().agent is None
    assert at_bed(notes=[vaporizer(0, level="0")]).agent.minutes_low is None, "nothing is used: no end"


def test_a_turned_dial_and_a_new_level_count_from_their_time():
    turned = at_bed(notes=[vaporizer(2 * HOUR)], by_hand=[(HOUR, hand_entry("agent_level", "3"))]).agent
    assert turned.left_ml == pytest.approx(125 - 18.46 - 2 * 18.46, abs=0.03)
    read = at_bed(notes=[vaporizer(2 * HOUR)], by_hand=[(0, hand_entry("agent_left", "50"))]).agent
    assert read.left_ml == 50.0


def test_what_is_read_off_by_itself_counts_where_the_rest_is_known():
    cylinder = (3 * HOUR, cylinder_entry(size="UK D", water_l="", gauge="137", unit="bar"))
    found = at_bed(notes=[cylinder, OXYGEN], by_hand=[
        (HOUR // 2, hand_entry("gauge", "1000", "psi")), (HOUR // 2, hand_entry("oxygen_flow", "2")),
        (0, hand_entry("spo2", "94")),
    ])  # fmt: skip
    assert found.cylinder.content.gauge_bar == pytest.approx(68.95, abs=0.01)  # 1 psi = 6894.757 Pa (D)
    assert found.cylinder.demand.added_oxygen_l_min == 2.0
    assert found.entered.unreadable == 0
    lone = at_bed(by_hand=[(0, hand_entry("gauge", "100", "bar")), (0, hand_entry("oxygen_flow", "2"))])
    assert lone.cylinder is None and lone.entered.demand is None, "size and drive gas are never assumed"
    assert lone.entered.unreadable == 0
    odd = at_bed(notes=[(0, {"what": "agent", "agent": "ether"}), (0, {"what": "?"}), (0, {})])
    assert odd.entered.unreadable == 3
