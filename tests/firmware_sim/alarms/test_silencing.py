"""Pause and acknowledge: what they silence, for how long, and what ends them; heard at the sounder's pin.

120 s at most: from memory, ISO 80601-2-12. Acknowledged silences what is present, a new condition sounds
again: from memory, IEC 60601-1-8, 3.37. Low pressure may be paused, high may not: common practice. The rest
(third pause, burst first, page rules, sound in every 125 s): practice of the trade.
"""

import pytest

from firmware_sim.board.flash import Flash
from firmware_sim.contract import alarms
from firmware_sim.contract import engine as e
from firmware_sim.contract import settings as s
from firmware_sim.kernels import alarms as k
from tests.support.alarm_bench import Bench, Edges, Module, open_inputs, quiet

ID = alarms.ID_OF
TABLE = e.compile_table(s.defaults())


def outside(*names):
    """Return inputs in which these rows are beyond their limits."""
    inputs = quiet()
    for name in names:
        row = alarms.ROWS[ID[name]]
        if row.gate:
            inputs[row.gate[0]] = open_inputs(row)[row.gate[0]]
        inputs[row.value] = Edges(row, TABLE).outside
    return inputs


class Bed:
    """An engine with inputs, and the list of (step, row name, transition) that came of it."""

    def __init__(self, *names):
        self.engine = e.Engine(TABLE)
        self.seen = []
        self.inputs = quiet()
        self.run(1)
        if names:
            self.run(320, *names)

    def run(self, steps, *names):
        """Let time pass; with names, with these rows beyond their limits and no others."""
        if names:
            self.inputs = outside(*names)
        for _ in range(steps):
            now = self.engine.now()
            for index in range(self.engine.step(self.inputs)):
                row, code, *_ = self.engine.transition(index)
                name = alarms.ROWS[row].name if row != k.NO_ROW else ""
                self.seen.append((now, name, alarms.TRANSITIONS[code]))
            self.engine.clear()
        return self

    def sounds(self):
        """Tell the priority that sounds."""
        return self.engine.sound()


@pytest.mark.parametrize("row", [r for r in alarms.ROWS if r.circuit], ids=lambda row: row.name)
def test_circuit_rows_pause_and_acknowledge(row):
    bench = Bench(row).raised()
    bench.step(count=40)
    assert bench.engine.pause() == (e.OK if row.may_pause else e.NOTHING_TO_DO)
    bench.step(count=2)
    assert bench.engine.sound() == (0 if row.may_pause else row.priority)
    assert (bench.engine.pause_left() > 0) == row.may_pause


def test_a_pause_lasts_120_s_and_no_longer():
    bed = Bed("disconnected")
    assert bed.engine.pause() == e.OK
    assert bed.engine.pause_left() == 1200
    bed.run(1)
    assert bed.engine.pause() == e.ALREADY_PAUSED
    bed.run(1199)
    assert bed.sounds() == 0
    assert bed.run(1).sounds() == k.HIGH
    # Not again before a whole burst was heard.
    assert bed.engine.pause() == e.BURST_FIRST
    assert bed.engine.acknowledge() == e.BURST_FIRST
    bed.run(k.BURST)
    assert bed.engine.pause() == e.OK


def test_the_third_pause_within_ten_minutes_is_30_s():
    bed = Bed("disconnected")
    lengths = []
    for _ in range(4):
        assert bed.engine.pause() == e.OK
        lengths.append(bed.engine.pause_left())
        bed.run(bed.engine.pause_left() + k.BURST + 2)
    assert lengths == [1200, 1200, 300, 300]


def test_the_count_of_pauses_begins_anew_with_a_new_condition():
    bed = Bed("disconnected")
    for _ in range(2):
        assert bed.engine.pause() == e.OK
        bed.run(1240)
    bed.inputs = quiet()
    bed.run(5).run(200, "disconnected")
    assert bed.engine.pause() == e.OK
    assert bed.engine.pause_left() == 1200


def test_acknowledge_and_pause_together_silence_a_circuit_row_for_120_s():
    bed = Bed("disconnected")
    assert bed.engine.acknowledge() == e.OK
    assert bed.run(1000).sounds() == 0
    # Something else sounds now, and is paused: the circuit row's 120 s go on.
    bed.run(320, "disconnected", "rate_high")
    assert bed.sounds() == k.HIGH
    heard = next(step for step, name, what in bed.seen if what == "re_alarmed")
    acknowledged = next(step for step, name, what in bed.seen if what == "acknowledged")
    assert heard - acknowledged == 1200


def test_a_pause_is_cut_to_what_an_acknowledged_high_row_has_left():
    bed = Bed("disconnected")
    assert bed.engine.acknowledge() == e.OK
    # The new condition must come before the acknowledgement ends.
    bed.run(700, "disconnected", "rail_low")
    assert bed.sounds() == k.MEDIUM
    assert bed.engine.pause() == e.OK
    assert bed.engine.pause_left() == 500


@pytest.mark.parametrize(("new", "ends"), [
    ("rail_low", True), ("pressure_high", True), ("clock_unset", False), ("many_dips", False)])
def test_a_new_medium_or_high_ends_a_pause_a_new_low_does_not(new, ends):
    bed = Bed("disconnected")
    bed.engine.pause()
    bed.run(5).run(700, "disconnected", new)
    assert bed.engine.stands(ID[new])
    assert (bed.engine.pause_left() == 0) == ends


def test_acknowledging_silences_what_stands_not_what_comes():
    bed = Bed("rail_low")
    bed.engine.acknowledge()
    assert bed.run(30).sounds() == 0
    assert bed.run(30, "rail_low", "many_dips").sounds() == k.LOW
    assert bed.run(200, "rail_low", "many_dips", "disconnected").sounds() == k.HIGH


def test_the_lamp_stays_while_the_sound_is_off():
    bed = Bed("disconnected")
    bed.engine.pause()
    assert bed.run(10).engine.lamp() == k.HIGH
    assert bed.sounds() == 0


def test_a_reminder_comes_when_sound_stays_off():
    bed = Bed("purity_very_low")
    assert bed.sounds() == k.HIGH
    bed.engine.acknowledge()
    assert bed.run(1190).sounds() == 0
    assert bed.run(12).sounds() == k.HIGH
    assert bed.run(40).sounds() == 0
    assert [what for _, name, what in bed.seen if name == "purity_very_low"][-1] == "reminded"


def test_an_acknowledged_medium_condition_alarms_again_after_ten_minutes():
    bed = Bed("rail_low")
    bed.engine.acknowledge()
    bed.run(6010)
    assert bed.seen[-1][2] == "re_alarmed"
    assert not bed.engine.acknowledged(ID["rail_low"])


def test_a_condition_ignored_for_five_minutes_rises():
    bed = Bed("purity_low")
    raised = bed.seen[0][0]
    bed.run(3100)
    assert (raised + 3000, "purity_low", "escalated") in bed.seen
    assert bed.sounds() == k.HIGH


def test_consequences_of_a_cause_that_sounds_are_shown_and_do_not_sound():
    bed = Bed().run(60, "supply_interrupted")
    before = bed.engine.sound_serial()
    bed.run(100, "supply_interrupted", "supply_below_window", "stored_energy")
    stored = k.G_SIZE + ID["stored_energy"] * k.S_SIZE
    assert bed.engine.stands(ID["stored_energy"]) and bed.engine.stands(ID["supply_below_window"])
    assert bed.engine.state[stored + k.S_CAUSE] == ID["supply_interrupted"]
    assert bed.engine.sound_serial() == before
    # When the cause goes and the consequence stays, it speaks for itself.
    bed.run(700, "stored_energy")
    assert bed.sounds() == k.MEDIUM
    assert bed.engine.state[stored + k.S_CAUSE] == -1


def test_a_consequence_noticed_a_moment_before_its_cause_rings_one_bell():
    """The voltage passes the UPS's window on its way down: one step earlier than 'interrupted'."""
    bed = Bed().run(36, "supply_below_window").run(60, "supply_below_window", "supply_interrupted")
    below = k.G_SIZE + ID["supply_below_window"] * k.S_SIZE
    assert bed.engine.state[below + k.S_CAUSE] == ID["supply_interrupted"]
    assert [what for _, name, what in bed.seen if name == "supply_below_window"] == ["raised", "grouped"]
    # Raised long before, it is a condition of its own.
    bed = Bed().run(200, "supply_below_window").run(60, "supply_below_window", "supply_interrupted")
    assert bed.engine.state[below + k.S_CAUSE] == -1


def test_what_stood_under_the_consequence_moves_under_the_cause():
    bed = Bed().run(20, "supply_below_window").run(25, "supply_below_window", "stored_energy")
    bed.run(28, "supply_below_window", "stored_energy", "supply_interrupted")
    stored = k.G_SIZE + ID["stored_energy"] * k.S_SIZE + k.S_CAUSE
    assert bed.engine.stands(ID["stored_energy"])
    assert bed.engine.state[stored] == ID["supply_below_window"]
    bed.run(10, "supply_below_window", "stored_energy", "supply_interrupted")
    assert bed.engine.state[stored] == ID["supply_interrupted"]
    assert (bed.seen[-1][1], bed.seen[-1][2]) == ("supply_below_window", "grouped")


def test_an_acknowledged_condition_that_is_over_reminds_no_more():
    bed = Bed().run(60, "supply_interrupted")
    bed.engine.acknowledge()
    bed.run(900).run(620, "many_dips")
    assert "reminded" not in [what for _, name, what in bed.seen if name == "supply_interrupted"]
    assert not bed.engine.stands(ID["supply_interrupted"])


@pytest.mark.parametrize("silence", ["acknowledge", "pause"])
def test_silencing_a_cause_silences_no_consequence_that_begins_later(silence):
    bed = Bed().run(60, "supply_interrupted")
    getattr(bed.engine, silence)()
    assert bed.run(10).sounds() == 0
    bed.run(100, "supply_interrupted", "stored_energy")
    assert bed.sounds() == k.MEDIUM


def test_a_circuit_row_is_never_under_a_cause():
    for row in alarms.ROWS:
        if row.causes:
            assert row.group in ("supply", "source"), row.name
        for cause in row.causes:
            assert alarms.ROWS[cause].group in ("supply", "source")


def test_dark_and_apart():
    """Mains fails, is acknowledged, the circuit comes apart 90 s later: the full alarm."""
    bed = Bed().run(60, "supply_interrupted", "stored_energy")
    bed.engine.acknowledge()
    assert bed.run(900).sounds() == 0
    bed.run(102, "supply_interrupted", "stored_energy", "disconnected")
    assert bed.sounds() == k.HIGH
    raised = next(step for step, name, what in bed.seen if name == "disconnected")
    assert bed.engine.now() - raised <= 2


@pytest.mark.parametrize(
    "name", ["disconnected", "no_breath", "no_effort", "pressure_high", "pressure_sensor_fault"])
def test_a_page_never_silences_what_says_no_breath(name):
    row = alarms.ROWS[ID[name]]
    assert not row.from_page
    bench = Bench(row).raised()
    bench.step(count=40)
    assert bench.engine.pause(from_page=True) in (e.NOT_FROM_PAGE, e.NOTHING_TO_DO)
    assert bench.engine.acknowledge(row.id, from_page=True) == e.NOT_FROM_PAGE
    assert bench.engine.pause_left() == 0


def test_a_page_pauses_for_30_s_at_most():
    bed = Bed("rail_low")
    assert bed.engine.pause(from_page=True) == e.OK
    assert bed.engine.pause_left() == 300


def longest_silence_ms(sounds, begin, end):
    """Return the longest stretch without sound at the pin, in ms, between two times."""
    longest, quiet_since = 0, begin
    for at, _, level in [*sounds, (end, 0, 1)]:
        if at < begin:
            quiet_since = begin
            continue
        if level and quiet_since is not None:
            longest = max(longest, at - quiet_since)
            quiet_since = None
        elif not level:
            quiet_since = at
    return longest


def thumb(every_s, buttons):
    """Return when which button is pressed, in steps, over 24 minutes."""
    return {int(index * every_s * 10): buttons[index % len(buttons)] for index in range(int(1440 / every_s))}


@pytest.mark.parametrize("row", ["disconnected", "purity_very_low", "output_lost", "no_breath"])
@pytest.mark.parametrize(
    ("every_s", "buttons"), [(119, (0,)), (119, (1,)), (1, (0,)), (7, (0, 1)), (61, (1, 0))])
def test_restless_thumb(row, every_s, buttons, compiled_steps):
    """Whatever is pressed, sound is heard in every 125 s of a standing high condition, at the pin."""
    module = Module(Flash(64), steps=compiled_steps)
    module.step(quiet(), 30)
    inputs = outside(row)
    module.step(inputs, 250)
    begin = module.hal.step
    presses = thumb(every_s, buttons)
    for step in range(14400):
        held = [presses.get(step - back) for back in range(3)]
        module.hal.pressed = [0 in held, 1 in held]
        module.step(inputs)
    silence = longest_silence_ms(module.hal.sounds, begin * 100, module.hal.step * 100)
    # The presses do silence it; were they without effect, this would prove nothing.
    assert 100_000 < silence <= 125_000
