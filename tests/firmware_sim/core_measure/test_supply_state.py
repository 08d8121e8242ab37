"""What the supply is, from two taps: played plants whose truth is known by construction.

The rules are the trade's (common practice): nearness of the output to nominal proves nothing, unclear is
undetermined, a bypass is recognised within 60 s, evidence expires after 10 min, and after a slip of phase
the state is never normal.
"""

import numpy as np
import pytest

from firmware_sim.contract import channels
from firmware_sim.core import supply_state
from tests.support.step_kernel import Taps
from tests.support.taps import RATE_HZ, blocks, codes, module_settings

NORMAL, STORED = channels.STATE_NORMAL, channels.STATE_STORED_ENERGY
BYPASS, DEAD, UNDETERMINED = channels.STATE_BYPASS, channels.STATE_DEAD, channels.STATE_UNDETERMINED
MAINS = ((3, 0.39, 0.2), (5, 0.70, 3.0), (7, 0.30, 0.3), (11, 0.10, 0.7))
INVERTER = ((3, 0.90, 3.0), (5, 0.25, 0.5), (7, 0.30, 3.5))


def unit(shape):
    norm = np.sqrt(sum(share * share for _, share, _ in shape))
    return tuple((order, share / norm, shift) for order, share, shift in shape)


class Plant:
    """Mains and UPS in closed form; `play` runs seconds of them through the module and tells the states."""

    def __init__(self, kernels, noise=0.45, **changed):
        self.supply = Taps(kernels, module_settings(study__snapshot_interval=0, **changed))
        self.rng = np.random.default_rng(5)
        self.noise = noise
        self.sample = 0
        self.turn = 0.0
        self.own_turn = 0.0

    def _wave(self, turn, rms, distortion, shape):
        wave = np.sin(turn)
        for order, share, shift in unit(shape):
            wave = wave + distortion * share * np.sin(order * turn + shift)
        return rms * np.sqrt(2) * wave

    def play(
        self,
        seconds,
        mode,
        hertz=50.02,
        thd=0.03,
        rms=230.0,
        own_hertz=50.0,
        own_thd=0.016,
        dips=(),
        tilt=0.0,
    ):
        """Return [(second, state)] of each change; `free` runs on its own crystal, `normal` is locked."""
        count = round(seconds * RATE_HZ)
        steps = np.arange(1, count + 1)
        turn = self.turn + 2 * np.pi * hertz * steps / RATE_HZ
        level = np.full(count, rms) + tilt * np.sin(2 * np.pi * steps / (40 * RATE_HZ))
        for at, length, residual in dips:
            level[round(at * RATE_HZ) : round((at + length) * RATE_HZ)] *= residual
        before = self._wave(turn, level, thd, MAINS)
        own_turn = turn if mode == "normal" else self.own_turn + 2 * np.pi * own_hertz * steps / RATE_HZ
        if mode == "bypass":
            after = before * 0.9985
        elif mode == "dead":
            after = np.zeros(count)
        else:
            after = self._wave(own_turn, 230.0, own_thd, INVERTER)
        self.turn, self.own_turn = turn[-1], own_turn[-1]
        seed = int(self.rng.integers(1 << 30))
        states = []
        pairs = zip(
            blocks(codes(before, self.noise, seed)), blocks(codes(after, self.noise, seed + 1)), strict=True
        )
        for n, (first, second) in enumerate(pairs):
            self.supply.take(first, second)
            if self.supply.state.changed:
                states.append(((n + 1) / 10, self.supply.state.state))
        return states

    @property
    def state(self):
        return self.supply.state.state


@pytest.mark.parametrize("thd", [0.05, 0.03, 0.01, 0.004, 0.002])
def test_twins_are_told_apart_within_a_minute(fast, thd):
    """229.8-230.2 V in both modes: bypass and regulated alternate and each is known within 60 s."""
    plant = Plant(fast)
    for rms, mode, expected in (
        (229.8, "bypass", BYPASS), (230.2, "normal", NORMAL),
        (230.2, "bypass", BYPASS), (229.8, "normal", NORMAL),
    ):  # fmt: skip
        states = plant.play(60, mode, thd=thd, rms=rms)
        assert plant.state == expected
        assert {state for _, state in states} <= {expected, UNDETERMINED}


def test_mains_too_clean_to_compare_is_undetermined(fast):
    plant = Plant(fast)
    plant.play(90, "normal", thd=0.0002, own_thd=0.0)
    assert plant.state == UNDETERMINED
    assert plant.supply.state.evidence & supply_state.CLEAN
    assert plant.supply.seen.undetermined_age == 900


def test_fluctuations_tell_even_clean_waves_apart(fast):
    """A slow swing of 0.5 V reaches the output in bypass and doesn't behind a double conversion."""
    bypass = Plant(fast)
    bypass.play(240, "bypass", thd=0.0002, tilt=0.5)
    assert bypass.state == BYPASS
    assert bypass.supply.state.slope == pytest.approx(1000, abs=150)
    regulated = Plant(fast)
    regulated.play(240, "normal", thd=0.0002, own_thd=0.0, tilt=0.5)
    assert regulated.state == NORMAL
    assert abs(regulated.supply.state.slope) < 150


def test_evidence_expires_after_ten_minutes(fast):
    plant = Plant(fast)
    plant.play(60, "normal")
    assert plant.state == NORMAL
    # The averaged waveforms fade within some 25 s.
    plant.play(595, "normal", thd=0.0002, own_thd=0.0)
    assert plant.state == NORMAL
    plant.play(35, "normal", thd=0.0002, own_thd=0.0)
    assert plant.state == UNDETERMINED


def test_stored_energy_dead_and_back(fast):
    """Mains fails, the battery carries, runs out; the output comes back in bypass: never normal meanwhile."""
    plant = Plant(fast)
    plant.play(60, "normal")
    assert plant.play(30, "free", rms=0.5) == [(pytest.approx(0.25, abs=0.06), STORED)]
    states = plant.play(20, "dead", rms=0.5)
    assert states == [(pytest.approx(0.2, abs=0.1), DEAD)]
    states = plant.play(60, "bypass")
    assert plant.state == BYPASS
    assert NORMAL not in {state for _, state in states}


def test_after_an_outage_normal_only_once_locked(fast):
    plant = Plant(fast)
    plant.play(60, "normal")
    plant.play(30, "free", rms=0.5)
    states = plant.play(20, "free")
    assert states == []
    assert plant.state == STORED
    plant.play(60, "normal")
    assert plant.state == NORMAL


def test_open_breaker_behind_the_tap(fast):
    """Mains fine at the tap, UPS on battery: its phase slips, so it is never normal again; then it dies."""
    plant = Plant(fast)
    plant.play(60, "normal")
    assert plant.state == NORMAL
    first = plant.play(15, "free", own_hertz=50.003)
    assert first
    states = plant.play(300, "free", own_hertz=50.003) + plant.play(10, "dead")
    assert NORMAL not in {state for _, state in states}
    assert STORED in {state for _, state in states}
    assert states[-1][1] == DEAD
    assert plant.supply.state.previous == STORED


@pytest.mark.parametrize(("mode", "bit", "expected"), [
    ("bypass", supply_state.DIP_PASSED, BYPASS), ("normal", supply_state.DIP_BLOCKED, NORMAL),
])  # fmt: skip
def test_one_dip_decides(fast, mode, bit, expected):
    plant = Plant(fast)
    plant.play(5, mode, thd=0.0002, own_thd=0.0)
    assert plant.state == UNDETERMINED
    plant.play(1, mode, thd=0.0002, own_thd=0.0, dips=((0.4, 0.1, 0.8),))
    assert plant.supply.state.evidence & bit
    assert plant.state == expected


def test_bypass_follows_an_input_outside_the_window(fast):
    plant = Plant(fast)
    plant.play(40, "bypass")
    plant.play(10, "bypass", rms=140.0)
    assert plant.state == BYPASS


def test_edge_of_the_window_by_behaviour(fast):
    """158 V reads 159.6 V on a tap that is 1 % high; the output free of the input says stored energy."""
    plant = Plant(fast)
    plant.play(60, "normal", rms=163.0)
    assert plant.state == NORMAL
    plant.play(5, "free", rms=157.5)
    assert plant.state == STORED
    states = plant.play(20, "free", rms=165.0)
    assert states == []


def test_other_classes_prove_nothing_by_their_wave(fast):
    """VI and VFD follow the input in every mode: undetermined until a failure was carried."""
    plant = Plant(fast, supply__ups_class=1)
    plant.play(90, "bypass")
    assert plant.state == UNDETERMINED
    plant.play(5, "free", rms=0.5)
    assert plant.state == STORED
    plant.play(60, "bypass")
    assert plant.state == NORMAL
    plant.play(600, "bypass")
    assert plant.state == UNDETERMINED


def test_a_contact_decides(fast):
    plant = Plant(fast, supply__ups_class=1)
    plant.supply.state.contact = BYPASS
    plant.play(5, "bypass")
    assert plant.state == BYPASS
    assert plant.supply.state.evidence & supply_state.CONTACT


def test_taps_on_different_phases_never_say_bypass(fast):
    """A third of a turn apart: the output may copy the shape, but not of this phase."""
    plant = Plant(fast)
    count = 60 * RATE_HZ
    turn = 2 * np.pi * 50.02 * np.arange(count) / RATE_HZ
    before = plant._wave(turn, 230.0, 0.03, MAINS)
    after = plant._wave(turn - 2 * np.pi / 3, 230.0, 0.03, MAINS)
    for first, second in zip(blocks(codes(before, 0.5)), blocks(codes(after, 0.5, 2)), strict=True):
        plant.supply.take(first, second)
    assert plant.state == UNDETERMINED
    assert plant.supply.state.evidence & supply_state.PHASE_FAR


def test_ghost_volts_on_a_dead_line(fast):
    """40 V on a dead input is no input; 40 V on a dead output is no output."""
    plant = Plant(fast)
    plant.play(40, "normal")
    plant.play(3, "free", rms=40.0)
    assert plant.state == STORED
    plant.supply.step  # noqa: B018 - the class is the module's own
    plant.play(3, "bypass", rms=40.0)
    assert plant.state == DEAD
