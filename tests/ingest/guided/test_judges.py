"""Each step's judge against records drawn for it: just inside, just outside, and what must not pass."""

from types import SimpleNamespace

import numpy as np
import pytest

from ingest.analysis.guided import gas_steps, supply_steps
from ingest.analysis.guided.run import Guide, runs
from ingest.analysis.guided.sight import Sight
from ingest.analysis.guided.table import KIND, LISTS, STEPS
from ingest.analysis.guided.words import WORDS
from ingest.analysis.refusal import Refused

START = 1_772_308_800_000
NOMINAL = 230.0


class Record:
    """Stand in for a store: seconds of quantities as lists, stretches of codes, breaths, captures."""

    def __init__(self, seconds=60, breaths=(), states=(), captures=(), mode=0, **values):
        self.t = START + 1000 * np.arange(seconds) + 500
        self.values = {name: np.resize(np.array(one, float), seconds) for name, one in values.items()}
        self.seen, self.states, self.taken, self.mode = breaths, states, captures, mode
        self.written = []

    def trends(self, module, start, end, quantities, pixels=None):
        inside = (self.t >= start) & (self.t < end)
        found = {name: self.values.get(name, np.full(len(self.t), np.nan))[inside] for name in quantities}
        return SimpleNamespace(t=self.t[inside], mean=found, minimum=found, maximum=found)

    def bands(self, module, start, end, column):
        return [SimpleNamespace(start=START + 1000 * a, end=START + 1000 * b, code=code)
                for a, b, code in self.states if START + 1000 * b > start]  # fmt: skip

    def breaths(self, module, start, end):
        return [one for one in self.seen if start <= START + 1000 * one < end]

    def captures(self, module, start, end, kind):
        return self.taken

    def settings_at(self, module, utc):
        return None

    def calibrations(self, module):
        return []

    def alarm_transitions(self, module, start, end):
        return []

    def latest(self, module):
        return SimpleNamespace(codes={"mode": self.mode})

    def marks(self, module, kind):
        return [one for one in self.written if kind == KIND]


def judged(judge, record, seconds=60):
    return judge(Sight(record, 1, START, START + 1000 * seconds))


def both(before, after):
    return Record(supply_in=before, supply_out=after)


@pytest.mark.parametrize(
    ("record", "state", "key"),
    [
        (both([230] * 60, [230] * 60), "waiting", "guided.open_it"),
        (both([230] * 10 + [3] * 50, [230] * 60), "waiting", "guided.open_on"),
        (both([230] * 60, [230] * 10 + [3] * 50), "failed", "guided.taps_swapped"),
        (both([230] * 10 + [3] * 50, [230] * 30 + [3] * 30), "failed", "guided.not_carried"),
    ],
)
def test_which_tap_falls_tells_whether_they_are_swapped(record, state, key):
    verdict = judged(supply_steps.input_opened, record)
    assert (verdict.state, verdict.key) == (state, key)


def test_the_output_must_live_for_a_minute_on_stored_energy():
    mains, output = [230] * 5 + [3] * 61 + [230] * 4, [230] * 30 + [221] + [230] * 39
    record = Record(70, supply_in=mains, supply_out=output)
    verdict = judged(supply_steps.input_opened, record, 70)
    assert (verdict.state, verdict.value, verdict.params["lowest"]) == ("passed", 61, 221.0)


def wave(shift_deg, amplitude=NOMINAL * np.sqrt(2), hertz=50.0, count=640):
    return amplitude * np.sin(2 * np.pi * hertz * np.arange(count) / 3200 + np.radians(shift_deg))


@pytest.mark.parametrize(
    ("shift", "state"), [(0, "passed"), (-25, "passed"), (35, "failed"), (120, "failed"), (180, "failed")]
)
def test_another_phase_or_a_turned_tap_is_seen(shift, state):
    """Phases of a three-phase supply lie 120 degrees apart; a turned tap 180 (definitions)."""
    pair = [SimpleNamespace(capture_id=7, tap=tap, complete=True, volts=wave(shift * tap)) for tap in (0, 1)]
    verdict = judged(supply_steps.taps_in_phase, Record(captures=pair, frequency_in=[50.0]))
    assert verdict.state == state
    assert abs(abs(verdict.value) - abs(shift)) < 0.1
    pair[1].volts = wave(0, 20.0)
    assert judged(supply_steps.taps_in_phase, Record(captures=pair)).key == "guided.tap_dead"


def test_bypass_named_too_late_fails_and_never_named_waits():
    named = judged(supply_steps.bypass_seen, Record(states=[(-50, 40, 1), (40, 60, 3)]))
    assert (named.state, named.value) == ("passed", 40)
    late = judged(supply_steps.bypass_seen, Record(states=[(-50, 61, 1), (61, 70, 3)]), 70)
    assert late.state == "failed"
    assert judged(supply_steps.bypass_seen, Record(states=[(-50, 60, 0)])).state == "waiting"


def test_undetermined_is_never_out_of_bypass():
    for code, state in ((0, "waiting"), (1, "passed"), (2, "waiting"), (3, "waiting"), (4, "waiting")):
        assert judged(supply_steps.out_of_bypass, Record(states=[(0, 60, code)])).state == state


def held(start, loss, seconds=20):
    return [0.0] * 5 + [start / 2, start] + list(np.linspace(start, start - loss, seconds)) + [0.0] * 5


@pytest.mark.parametrize(
    ("pressure", "state", "key"),
    [
        (held(31, 2), "passed", "guided.hold_tight"),
        (held(31, 12), "failed", "guided.hold_leaks"),
        (held(24, 1), "waiting", "guided.hold_pump"),
        (held(41, 1), "failed", "guided.hold_high"),
        ([0.0] * 30, "waiting", "guided.hold_pump"),
    ],
)
def test_a_circuit_is_tight_when_it_holds_for_ten_seconds(pressure, state, key):
    verdict = judged(gas_steps.hold, Record(len(pressure), pressure=pressure), len(pressure))
    assert (verdict.state, verdict.key) == (state, key)


def test_breaths_end_a_hold():
    record = Record(30, pressure=held(31, 2), breaths=(3, 7))
    assert judged(gas_steps.hold, record, 30).key == "guided.hold_breath"


@pytest.mark.parametrize(
    ("value", "air", "high"),
    [(20.9, "passed", "waiting"), (22.5, "waiting", "waiting"), (88.0, "waiting", "waiting"),
     (94.0, "waiting", "passed"), (104.0, "waiting", "waiting")],
)  # fmt: skip
def test_two_points_of_the_oxygen_cell(value, air, high):
    record = Record(oxygen=[value, value + 0.2])
    assert judged(gas_steps.oxygen_air, record).state == air
    assert judged(gas_steps.oxygen_high, record).state == high


def test_a_restless_reading_is_no_point():
    assert judged(gas_steps.oxygen_high, Record(oxygen=[91.0, 95.0])).state == "waiting"


@pytest.mark.parametrize(("value", "state"), [(0.5, "passed"), (-0.5, "passed"), (0.51, "failed")])
def test_zero_of_the_pressure(value, state):
    assert judged(gas_steps.zero, Record(pressure=[value])).state == state


def test_without_readings_nothing_passes():
    empty = Record(0)
    for name in {*LISTS["pre_use"], *LISTS["commissioning"]}:
        step = STEPS[name]
        if step.judge is not gas_steps.person and name != "gauge":
            assert judged(step.judge, empty).state == "waiting", name


class Hand:
    """Press for a person; `now` in seconds."""

    def __init__(self, record, answer="started"):
        self.record, self.answer, self.told = record, answer, []

    def at(self, now):
        def note(utc, data, text):
            self.record.written.append(SimpleNamespace(utc=utc, author="AB", data=data))

        def tell(name, values):
            self.told.append((name, values))
            return self.answer

        return Guide(self.record, 1, START + 1000 * now, note=note, tell=tell)


def test_a_step_without_a_result_times_out_and_says_so():
    hand = Hand(Record(200, supply_in=[100.0], supply_out=[100.0]))
    hand.at(0).begin("pre_use")
    hand.at(0).start("pre_use", "supply")
    assert hand.at(124).look("pre_use")[1].state == "waiting"
    run, verdict = hand.at(126).look("pre_use")
    assert (verdict.state, verdict.key, run.attempt) == ("failed", "guided.timed_out", None)
    assert run.next_step == "supply"


def test_the_module_is_asked_twice_and_told_the_end():
    hand = Hand(Record(60, pressure=held(31, 2)))
    hand.at(0).begin("pre_use")
    hand.at(0).start("pre_use", "hold")
    assert hand.at(1).look("pre_use")[1].key == "guided.asked_once"
    hand.at(2).again("pre_use")
    run, _ = hand.at(40).look("pre_use")
    assert run.results["hold"].verdict.state == "passed"
    assert [values for _, values in hand.told] == [(0,), (1,), (2,), (0,)]


@pytest.mark.parametrize(
    ("answer", "said"), [("button_first", "its own button pressed first"), ("refused", "The module refused")]
)
def test_what_the_module_refuses_is_not_begun(answer, said):
    hand = Hand(Record(60), answer)
    hand.at(0).begin("pre_use")
    with pytest.raises(Refused, match=said):
        hand.at(1).start("pre_use", "hold")
    assert runs(hand.record.written)[-1].attempt is None


@pytest.mark.parametrize(("answer", "state"), [("done", "passed"), ("nothing_to_do", "failed")])
def test_a_discharge_that_the_module_did_not_count_proves_nothing(answer, state):
    """Proven minutes are the module's own setting; after a restart it has none to set."""
    hand = Hand(Record(400, states=[(0, 5, 1), (5, 300, 2), (300, 400, 1)]))
    hand.at(0).begin("commissioning")
    hand.at(0).start("commissioning", "discharge")
    hand.answer = answer
    run, _ = hand.at(390).look("commissioning")
    found = run.results["discharge"].verdict
    assert (found.state, found.value) == (state, 4)


def test_a_person_cannot_confirm_what_was_not_measured():
    hand = Hand(Record(60))
    hand.at(0).begin("pre_use")
    hand.at(0).start("pre_use", "alarms")
    with pytest.raises(Refused, match="has not measured it yet"):
        hand.at(5).confirm("pre_use", right=True)
    hand.at(6).stop("pre_use")
    hand.at(7).start("pre_use", "supply")
    with pytest.raises(Refused, match="Only the module decides"):
        hand.at(8).confirm("pre_use", right=True)


def test_strange_marks_are_left_out():
    odd = [SimpleNamespace(utc=1, author="x", data=data) for data in (
        {}, {"run": "a", "do": "begin"}, {"run": 1, "do": "result", "step": "supply"},
        {"run": 5, "do": "begin", "list": "pre_use"}, {"run": 5, "do": "result", "step": "juggle"},
        {"run": 5, "do": "again", "step": "hold"},
    )]  # fmt: skip
    (run,) = runs(odd)
    assert (run.begun_ms, dict(run.results), run.attempt) == (5, {}, None)


def test_every_step_has_words():
    for name in STEPS:
        assert f"step.{name}" in WORDS
        assert f"step.{name}.do" in WORDS
