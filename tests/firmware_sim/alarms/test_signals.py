"""Lamps and sound against the published tables: the rendered wave is measured, not the schedule.

IEC 60601-1-8:2006+A1:2012+A2:2020, Tables 2 (quoted), 3 and 4. Quoted: light colours, rates, duties; ten
pulses; high 2.5-15 s and medium 2.5-30 s between bursts; 150-1000 Hz and four harmonics within 15 dB in
300-4000 Hz.
From memory: spacings, pulse length, rise, the other pulse counts. Worked out from these: length of a burst.
"""

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.io import wavfile
from scipy.ndimage import uniform_filter1d
from scipy.signal import find_peaks

import nightkeel
from firmware_sim.board.flash import Flash
from firmware_sim.contract import alarms
from firmware_sim.contract.engine import compile_table
from firmware_sim.contract.settings import defaults
from firmware_sim.core import sounder
from firmware_sim.kernels.alarms import HIGH, LOW, MEDIUM
from firmware_sim.sound import RATE_HZ, render, schedule
from tests.support.alarm_bench import Edges, Module, quiet

SECONDS = 24.0
PRIORITY = pytest.mark.parametrize("priority", [HIGH, MEDIUM, LOW], ids=["high", "medium", "low"])


class Heard:
    """What a rendered wave shows: pulses (start, end in s), their rise, and the burst they belong to."""

    def __init__(self, priority):
        self.wave = render(schedule(priority, SECONDS), SECONDS)
        envelope = self.envelope(1 / sounder.BURSTS[priority][0])
        top = envelope.max()
        loud = np.flatnonzero(np.diff(np.concatenate([[0], (envelope > top / 2).astype(int), [0]])))
        self.starts, self.ends = loud[::2] / RATE_HZ, loud[1::2] / RATE_HZ
        self.rises = [self.rise(envelope, start, top) for start in self.starts]
        gaps = self.starts[1:] - self.ends[:-1]
        cuts = np.flatnonzero(gaps > 2.0)
        self.bursts = np.split(np.arange(len(self.starts)), cuts + 1)
        self.between = gaps[cuts]

    def envelope(self, period):
        """Return the rms over one period of the fundamental."""
        size = round(period * RATE_HZ)
        return np.sqrt(np.maximum(uniform_filter1d(self.wave**2, size), 0))

    def rise(self, envelope, start, top):
        """Return the time from 10 % to 90 % of the pulse."""
        at = round(start * RATE_HZ)
        low = at - np.argmax(envelope[at::-1] < top * 0.1)
        high = at + np.argmax(envelope[at:] > top * 0.9)
        return (high - low) / RATE_HZ

    def spacings(self, burst):
        """Return the silences between the pulses of one burst."""
        index = self.bursts[burst]
        return self.starts[index[1:]] - self.ends[index[:-1]]

    def length(self, burst):
        """Return the length of one burst."""
        return self.ends[self.bursts[burst][-1]] - self.starts[self.bursts[burst][0]]


@pytest.fixture(scope="module")
def heard():
    return {priority: Heard(priority) for priority in (HIGH, MEDIUM, LOW)}


def test_pulses_in_a_burst(heard):
    assert {len(burst) for burst in heard[HIGH].bursts[:-1]} == {10}
    assert {len(burst) for burst in heard[MEDIUM].bursts[:-1]} == {3}
    assert {len(burst) for burst in heard[LOW].bursts[:-1]} <= {1, 2}


def test_spacing_of_a_high_burst(heard):
    found = heard[HIGH].spacings(0)
    x = found[0]
    pulse = heard[HIGH].ends[0] - heard[HIGH].starts[0]
    assert 0.050 <= x <= 0.125
    assert 0.35 <= found[4] <= 1.30
    expected = [x, x, 2 * x + pulse, x, found[4], x, x, 2 * x + pulse, x]
    assert found == pytest.approx(expected, abs=0.002)


@pytest.mark.parametrize("priority", [MEDIUM, LOW])
def test_spacing_of_the_others(heard, priority):
    assert all(0.125 <= gap <= 0.250 for gap in heard[priority].spacings(0))


def test_silence_between_bursts(heard):
    assert all(2.5 <= gap <= 15 for gap in heard[HIGH].between)
    assert all(2.5 <= gap <= 30 for gap in heard[MEDIUM].between)
    assert all(gap > 15 for gap in heard[LOW].between)
    assert [len(heard[priority].between) > 0 for priority in (HIGH, MEDIUM, LOW)] == [True] * 3


@PRIORITY
def test_pulse_length_and_rise(heard, priority):
    low, high = (0.075, 0.200) if priority == HIGH else (0.125, 0.250)
    lengths = heard[priority].ends - heard[priority].starts
    assert low <= lengths.min() and lengths.max() <= high
    for rise, length in zip(heard[priority].rises, lengths, strict=True):
        assert 0.10 * length <= rise <= 0.40 * length


def test_length_of_a_burst(heard):
    assert 1.75 <= heard[HIGH].length(0) <= 4.95
    assert 0.625 <= heard[MEDIUM].length(0) <= 1.25


@PRIORITY
def test_spectrum(heard, priority):
    """The middle of a pulse: fundamental 150-1000 Hz, four harmonics in 300-4000 Hz within 15 dB."""
    pulse = heard[priority]
    middle = (pulse.starts[0] + pulse.ends[0]) / 2
    part = pulse.wave[round((middle - 0.03) * RATE_HZ):round((middle + 0.03) * RATE_HZ)]
    size = 1 << 16
    power = np.abs(np.fft.rfft(part * np.hanning(len(part)), size))
    peaks, _ = find_peaks(power, height=power.max() * 10 ** (-15 / 20), distance=200 * size // RATE_HZ)
    found = peaks * RATE_HZ / size
    fundamental = found[0]
    assert 150 <= fundamental <= 1000
    harmonics = [hz for hz in found[1:] if 300 <= hz <= 4000]
    assert len(harmonics) >= 4
    assert all(abs(hz / fundamental - round(hz / fundamental)) < 0.03 for hz in harmonics)


def test_a_half_square_would_fail_the_spectrum(monkeypatch):
    """A pulse width of 1/2 has too few harmonics (definition): the measurement sees it."""
    monkeypatch.setattr("firmware_sim.sound.DUTY_MAX_DIVISOR", 2)
    with pytest.raises(AssertionError):
        test_spectrum({HIGH: Heard(HIGH)}, HIGH)


@pytest.mark.parametrize(("priority", "change"), [
    (HIGH, {"gaps": (0, 75, 75, 75, 75, 500, 75, 75, 275, 75)}), (HIGH, {"silence": 20000}),
    (MEDIUM, {"pulse": 300}), (HIGH, {"gaps": (0, 75, 75, 275, 75, 200, 75, 75, 275, 75)}),
    (MEDIUM, {"ramp": 1}), (LOW, {"silence": 9000})])
def test_a_fault_planted_in_the_schedule_is_measured(priority, change, heard, monkeypatch):
    frequency, pulse, ramp, gaps, silence = sounder.BURSTS[priority]
    wrong = {"pulse": pulse, "ramp": ramp, "gaps": gaps, "silence": silence, **change}
    monkeypatch.setitem(sounder.BURSTS, priority, (frequency, *wrong.values()))
    sounds = {**heard, priority: Heard(priority)}
    checks = [lambda: test_spacing_of_a_high_burst(sounds), lambda: test_silence_between_bursts(sounds),
              lambda: test_pulse_length_and_rise(sounds, priority)]
    assert any(fails(check) for check in checks)


def fails(check):
    """Tell whether a check refuses."""
    try:
        check()
    except AssertionError:
        return True
    return False


def lit(row_name, steps=600):
    """Let a row stand on the bench; return the lamp edges after it was raised, and when."""
    module = Module(Flash(64))
    module.step(quiet(), 30)
    row = alarms.ROWS[alarms.ID_OF[row_name]]
    inputs = quiet()
    inputs[row.value] = Edges(row, compile_table(defaults())).outside
    module.hal.lamps.clear()
    module.step(inputs, steps)
    return module.hal.lamps, module


@pytest.mark.parametrize(("row", "lamp", "rate", "duty"), [
    ("disconnected", 0, (1.4, 2.8), (0.2, 0.6)), ("rail_low", 1, (0.4, 0.8), (0.2, 0.6))])
def test_flashing_lamps(row, lamp, rate, duty):
    edges, _ = lit(row)
    times = [at for at, index, _ in edges if index == lamp]
    assert {index for _, index, _ in edges} == {lamp}
    period = (times[-1] - times[0]) / ((len(times) - 1) / 2) if len(times) % 2 else None
    period = period or (times[-2] - times[0]) / ((len(times) - 2) / 2)
    on = times[1] - times[0]
    assert rate[0] <= 1000 / period <= rate[1]
    assert duty[0] <= on / period <= duty[1]
    # At most three flashes in any second: WCAG 2.2, 2.3.1 (quoted).
    rising = [at for at, _, state in edges if state]
    assert max(sum(start <= at < start + 1000 for at in rising) for start in rising) <= 3


def test_low_lamp_is_steady():
    edges, module = lit("many_dips", steps=300)  # well before the bench's clock counts as unset
    assert [(index, state) for _, index, state in edges] == [(2, True)]
    assert module.system.engine.standing() == [alarms.ID_OF["many_dips"]]


def test_the_lamp_shows_the_highest_priority():
    module = Module(Flash(64))
    module.step(quiet(), 30)
    inputs = quiet(dips_hour=200, rail=4000)
    module.step(inputs, 100)
    assert module.system.annunciator.shown == MEDIUM
    inputs[alarms.v.PRESSURE_MAX] = 300
    module.hal.lamps.clear()
    module.step(inputs, 150)
    assert module.system.annunciator.shown == HIGH
    dark = [at for at, index, state in module.hal.lamps if index == 1 and not state]
    red = next(at for at, index, state in module.hal.lamps if index == 0 and state)
    assert dark[-1] <= red


def test_power_up_lights_every_lamp_and_sounds_and_is_logged():
    module = Module(Flash(64))
    module.step(quiet(), 55)
    assert {index for _, index, state in module.hal.lamps if state} == {0, 1, 2, 3}
    assert {index for _, index, state in module.hal.lamps if not state} == {0, 1, 2, 3}
    assert max(level for _, _, level in module.hal.sounds) == 255
    assert module.hal.sounds[-1][2] == 0
    assert (6, 1, 0) in module.sent.logs


def test_signal_follows_the_transition_within_the_same_step():
    """Latency of the module itself: the lamp's edge lies in the step whose inputs raised the row."""
    module = Module(Flash(64))
    module.step(quiet(), 30)
    module.hal.lamps.clear()
    module.hal.sounds.clear()
    at = module.hal.step * 100
    module.step(quiet(pressure_max=6000), 1)
    assert module.transitions()[-1] == (at + 100, "pressure_high", "raised")
    assert module.hal.lamps[0] == (at, 0, True)
    assert module.hal.sounds[0][0] == at


def test_sound_command(tmp_path):
    path = tmp_path / "high.wav"
    done = CliRunner().invoke(nightkeel.cli, ["sound", "high", "--wav", str(path), "--seconds", "8"])
    assert done.exit_code == 0, done.output
    assert "SIMULATED" in done.output
    rate, samples = wavfile.read(path)
    assert rate == RATE_HZ and len(samples) == 8 * rate and np.abs(samples).max() > 20000
