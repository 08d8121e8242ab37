"""Commissioning on a whole emulated bed: each step measured by the module, from its record."""

import numpy as np
import pytest

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, at
from firmware_sim.world.scenario import Scenario
from ingest.analysis.guided.run import Guide
from ingest.analysis.guided.table import KIND
from ingest.analysis.refusal import Refused
from ingest.analysis.reserves.standing import standing
from ingest.store.reader import open_reader, tables
from tests.support.live_bed import LiveBed

FREE = {"bed": 1.0, "site_ppm": 945_000.0, "ups_normal": 1.0}


@pytest.fixture
def bed(tmp_path):
    scenario = Scenario(
        name="commission", title="Commissioning", description="Invented: a bed with nobody on.", seed=5,
        duration_s=6 * 3600.0,
        settings={"patient": ADULT, "ventilator": {**BELLOWS_ADULT, "source": 0}}, initial=FREE,
        events=(at(2, "person", "set_mode", mode="standby"),),
        fitted=("battery_voltage", "ups_current"),
    )  # fmt: skip
    bed = LiveBed(scenario, tmp_path / "bed.db")
    yield bed.play(90)
    bed.close()


class Hands:
    """Do with a bed what a page does: one fresh guide a press."""

    def __init__(self, bed, list_name="commissioning"):
        self.bed, self.list_name = bed, list_name

    def __getattr__(self, name):
        def pressed(*given, **named):
            with open_reader(self.bed.path) as reader:
                guide = Guide(reader, self.bed.module, self.bed.now, note=self.bed.note(KIND),
                              tell=self.bed.tell)  # fmt: skip
                return getattr(guide, name)(self.list_name, *given, **named)
        return pressed

    def watch(self, seconds):
        """Look every 4 s until the step has a result; return its verdict."""
        for _ in range(0, seconds, 4):
            self.bed.play(4)
            run, verdict = self.look()
            if run.attempt is None or (verdict.state == "passed" and run.attempt.step.confirm):
                return verdict
        return verdict


def passed(hands, name, value=None, tolerance=0.0, seconds=200):
    """Watch one step to its pass; hold its figure against what was done to the bed."""
    verdict = hands.watch(seconds)
    assert verdict.state == "passed", (name, verdict)
    if value is not None:
        assert verdict.value == pytest.approx(value, abs=tolerance), name
    return verdict


def test_commissioning_of_the_supply_measured_by_the_module(bed):
    """What is done to the emulated plant is the reference: when, how long, how much."""
    hands = Hands(bed)
    hands.begin()
    hands.start("taps")
    passed(hands, "taps", 0.0, 6.0)
    hands.start("ups_class")
    passed(hands, "ups_class", 230.0, 3.0)
    assert hands.confirm(right=True).results["ups_class"].verdict.value == pytest.approx(230, abs=3)
    hands.start("input_opened")
    bed.play(5).happen("mains", "interruption", duration_s=80.0)
    lived = passed(hands, "input_opened", 60, 4)
    assert lived.params["lowest"] > 200
    bed.play(40)
    hands.start("out_of_bypass")
    passed(hands, "out_of_bypass")
    hands.start("bypass")
    bed.play(1).happen("ups", "switch_to_bypass")
    assert passed(hands, "bypass").value <= 60
    with pytest.raises(Refused, match="not proven in normal mode"):
        hands.start("bypass")
    bed.happen("ups", "switch_to_normal").play(60)
    hands.start("discharge")
    bed.happen("mains", "interruption", duration_s=250.0).play(200)
    # Nobody looks for minutes: the record is judged all the same, and the module has counted too.
    _, going = hands.look()
    assert (going.key, going.value) == ("guided.discharge_on", 3)
    bed.play(120)
    assert passed(hands, "discharge", 4).unit == "min"
    bed.play(5)
    with open_reader(bed.path) as reader:
        stand = standing(reader, bed.module, bed.now)
        in_force = reader.settings_at(bed.module, bed.now).values
        channels = ["battery_voltage", "ups_current"]
        seen = reader.trends(bed.module, bed.now - 330_000, bed.now - 130_000, channels).mean
        before = reader.trends(bed.module, bed.now - 450_000, bed.now - 400_000, channels).mean
    kept = {name: tables.setting_value(in_force, name) for name in tables.SETTINGS if "discharge." in name}
    assert tables.setting_value(in_force, "battery.proven_minutes") == kept["discharge.minutes"] == 4
    # Where voltage and load are fitted, what they showed in the test is kept beside its minutes.
    assert kept["discharge.load"] == pytest.approx(np.nanmean(seen["ups_current"]), abs=0.1)
    curve = [kept[f"discharge.volts_{k}"] for k in range(8)]
    assert curve == sorted(curve)
    assert np.nanmin(seen["battery_voltage"]) <= curve[0] < curve[-1]
    assert curve[-1] < np.nanmin(before["battery_voltage"]) - 1.0, "the charger's is no part of it"
    assert "battery.load_unknown" not in stand.battery.unknown
    # Proven minutes feed the reserves: a battery just emptied by four of four minutes holds none of them.
    assert stand.battery is not None and stand.battery.proven
    assert stand.battery.minutes_low < 4
    done = hands.open()
    assert [name for name, one in done.results.items() if one.verdict.state == "passed"] == [
        "taps", "ups_class", "input_opened", "out_of_bypass", "bypass", "discharge",
    ]  # fmt: skip
    assert done.next_step == "zero"


def test_gas_and_circuit_steps(bed):
    hands = Hands(bed)
    hands.begin()
    hands.start("zero")
    assert passed(hands, "zero", 0.0, 0.3).params["points"] == 0
    bed.happen("board", "offset", channel="pressure", value=1.5).play(110)
    hands.start("zero")
    off = hands.watch(40)
    # A drift of 1 to 2 cmH2O decides low limits (practice of the trade).
    assert (off.state, off.key) == ("failed", "guided.zero_off")
    assert off.value == pytest.approx(1.5, abs=0.3)
    bed.happen("board", "offset", channel="pressure", value=-1.5).play(110)
    hands.start("oxygen_high")
    passed(hands, "oxygen_high", 95.5, 0.7)  # a new sieve: 95.7 % is the ceiling (argon left, definition)
    hands.start("hold")
    assert hands.look()[1].key == "guided.asked_once"
    hands.again()
    bed.play(3).happen("circuit", "block_line", at_cmh2o=31.0, duration_s=14.0)
    passed(hands, "hold", 0.0, 0.6)
    bed.tell("set_mode", (1,))
    hands.start("alarms")
    raised = passed(hands, "alarms")
    assert raised.params["row"] in ("no_breath", "disconnected")  # neither breath nor pressure on the circuit
    with pytest.raises(Refused, match="Another step is open"):
        hands.start("zero")
    assert hands.confirm(right=False).results["alarms"].verdict.state == "failed"


def test_what_is_refused_with_a_patient_on(bed):
    hands = Hands(bed)
    hands.begin()
    bed.tell("set_mode", (1,))
    with pytest.raises(Refused, match="confirm that a second source stands ready"):
        hands.start("discharge")
    assert hands.open().attempt is None
    assert hands.start("discharge", second_source=True).attempt.step.name == "discharge"
    assert hands.confirm(right=True).results["discharge"].verdict.key == "guided.discharge_short"
    bed.tell("set_mode", (0,))
    bed.happen("ventilator", "start").play(30)
    with pytest.raises(Refused, match="breath was seen in the last 60 s"):
        hands.start("hold")
