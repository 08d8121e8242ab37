"""What the supply is: normal, stored energy, bypass, dead or undetermined, by evidence from both taps.

An output near the nominal voltage proves nothing: a double conversion locked to its input looks alike in
both modes. What counts: whether the input's distortion reaches the output, whether its fluctuations do,
whether dips pass, whether the output's phase slips against the input's, whether the output lives without
an input. Evidence accumulates, contradicts, and expires after 10 min; unclear is undetermined.
"""

import array

from firmware_sim.contract import inputs
from firmware_sim.contract.channels import (
    STATE_BYPASS,
    STATE_DEAD,
    STATE_NORMAL,
    STATE_STORED_ENERGY,
    STATE_UNDETERMINED,
)
from firmware_sim.kernels import evidence as fit
from firmware_sim.kernels import supply as words
from firmware_sim.kernels.steps import (
    DEAD,
    DOUBTED,
    OUTSIDE,
    RUN_WORDS,
    SAID,
    SAYS,
    SAYS_BYPASS,
    SAYS_CARRIED,
    SAYS_DEAD,
    STANDS,
    UNDETERMINED,
    WINDOW_HIGH,
    WINDOW_LOW,
)

# Bits of evidence, as in message `supply_state`.
COPY = 1  # the output repeats the input's waveform
OWN_WAVE = 2  # the output's waveform is its own
FOLLOWS = 4  # fluctuations of the input reach the output
STEADY = 8  # fluctuations of the input don't
SLIP = 16  # the phase between the taps moves
DIP_PASSED = 32
DIP_BLOCKED = 64
CARRIED = 128  # the output lived without an input
CONTACT = 256  # a contact of the UPS says so
PHASE_FAR = 512  # taps more than 45 degrees apart: another phase or a transformer
CLEAN = 1024  # too little distortion at the input to compare
SWAPPED = 2048  # the tap before the UPS lived while the one behind it died first, or the reverse of sense
EVIDENCE = (
    "copy", "own_wave", "follows", "steady", "slip", "dip_passed", "dip_blocked", "carried", "contact",
    "phase_far", "clean", "swapped",
)

# What the kernel may say of a block, and the state that it means.
STATE_OF = {SAYS_DEAD: STATE_DEAD, SAYS_CARRIED: STATE_STORED_ENERGY, SAYS_BYPASS: STATE_BYPASS}
SAYS_OF = {state: says for says, state in STATE_OF.items()}

VFI = 0
EXPIRY_S = 600
ENOUGH = 10  # votes needed
VOTES_MAX = 20
LOCK_S = 20
SLIP_MIN = 300  # 0.01 degree in 10 s
LOCK_MAX = 100
STILL_S = 5  # seconds locked to a good input before stored energy is believed to have ended
STILL_MAX = 30  # 0.01 degree/s; a free crystal drifts faster
FAR = 4500
DEVIATION_MIN = 100  # 1/16 of 0.01 V
DEVIATION_MAX = 2000
SLOPE_SQUARES_MIN = 200000  # up, and as much down


class SupplyState:
    """Infer the supply state; `step` after one or more blocks, `second` each second.

    `state` is the present one, `evidence` the bits that speak, `residual` (0.01 %), `slope` (1/1000),
    `slip` (0.01 degree/s): None where not known. `changed` is True in the step that changed `state`. `run` is
    what `kernels.quiet_steps` is told and says.
    """

    def __init__(self, kernels):
        self.kernels = kernels
        self.run = array.array("i", bytes(4 * RUN_WORDS))
        inputs.place(self.run)
        self.compare = array.array("i", bytes(4 * fit.COMPARE_WORDS))
        self.state = STATE_UNDETERMINED
        self.previous = STATE_UNDETERMINED
        self.changed = False
        self.evidence = 0
        self.residual = None
        self.slope = None
        self.slip = None
        self.doubted = False
        self.contact = None  # a state that a contact of the UPS reports
        self.undetermined_steps = 0
        self.bypass_votes = 0
        self.own_votes = 0
        self.vote_age_s = EXPIRY_S
        self.carried_age_s = EXPIRY_S
        self.mean_in = 0
        self.mean_out = 0
        self._forget_slope()
        self._forget_phase()
        self.slip_seen = False
        self.slip_s = 0

    def configure(self, nominal, hertz, window_low, window_high, ups_class):
        """Take nominal voltage (0.01 V), frequency (Hz), the UPS's window (0.01 % of nominal) and class."""
        self.nominal = nominal
        self.hertz = hertz
        self.run[WINDOW_LOW] = window_low
        self.run[WINDOW_HIGH] = window_high
        self.ups_class = ups_class

    # Each block.

    def begin(self):
        """Tell the kernel for how long the state has been undetermined."""
        self.run[UNDETERMINED] = self.undetermined_steps if self.state == STATE_UNDETERMINED else -1

    def step(self, steps):
        """Take what the kernel said of some blocks (words of `kernels.steps`)."""
        self.changed = False
        said = self.run[SAID]
        if said & SAYS_DEAD:
            # What comes back may be another mode: a UPS restarts in bypass.
            self.bypass_votes = 0
            self.own_votes = 0
        if said & SAYS_CARRIED:
            self.carried_age_s = 0
            self.evidence |= CARRIED
        if self.run[SAYS]:
            self._enter(STATE_OF[self.run[SAYS]])
        if self.state != STATE_UNDETERMINED:
            self.undetermined_steps = 0
        elif self.undetermined_steps < 1 << 29:
            self.undetermined_steps += steps

    def doubt(self, doubted):
        """Say whether a tap's sensor isn't believed."""
        self.doubted = doubted
        self.run[DOUBTED] = 1 if doubted else 0

    def _enter(self, state):
        if state != self.state:
            self.previous = self.state
            self.state = state
            self.changed = True
            self.run[STANDS] = SAYS_OF.get(state, 0)

    # Each second.

    def second(self, ring, state):
        """Weigh one second of both taps; True where the state changed."""
        self.changed = False
        tap_in = words.COMMON
        tap_out = words.COMMON + words.TAP
        self._age()
        if self.doubted:
            self._doubted_second()
            return self.changed
        self._dips(state, tap_in, tap_out)
        live = self.run[OUTSIDE] == 0 and self.run[DEAD] == 0
        if live and self._is_steady(state, tap_in) and self._is_steady(state, tap_out):
            self.kernels.compare_taps(ring, state, self.compare)
            self._wave()
            self._fluctuations(state[tap_in + words.MEAN_FINE], state[tap_out + words.MEAN_FINE])
            self._phase()
            self.mean_in = state[tap_in + words.MEAN]
            self.mean_out = state[tap_out + words.MEAN]
        else:
            self.kernels.compare_reset(self.compare)
            self._forget_slope()
            self._forget_phase()
        if live:
            self._enter(self._weigh(state, tap_in, tap_out))
        return self.changed

    def _doubted_second(self):
        """Nothing can be said of taps that aren't believed; a contact still counts."""
        self.kernels.compare_reset(self.compare)
        self._forget_slope()
        self._forget_phase()
        self.residual = None
        self.mean_in = 0
        if self.contact is not None:
            self.evidence |= CONTACT
        self._enter(STATE_UNDETERMINED if self.contact is None else self.contact)

    def _age(self):
        self.evidence = 0
        if self.vote_age_s < EXPIRY_S:
            self.vote_age_s += 1
        else:
            self.bypass_votes = 0
            self.own_votes = 0
        if self.carried_age_s < EXPIRY_S:
            self.carried_age_s += 1
            self.evidence |= CARRIED

    def _is_steady(self, state, tap):
        spread = state[tap + words.MAX] - state[tap + words.MIN]
        return state[tap + words.FREQUENCY] > 0 and spread * 100 < self.nominal * 3

    def _vote(self, bypass, weight, bit):
        self.evidence |= bit
        self.vote_age_s = 0
        if bypass:
            self.bypass_votes = min(VOTES_MAX, self.bypass_votes + weight)
            self.own_votes = max(0, self.own_votes - 2 * weight)
        else:
            self.own_votes = min(VOTES_MAX, self.own_votes + weight)
            self.bypass_votes = max(0, self.bypass_votes - 2 * weight)

    def _wave(self):
        """Vote by the waveform: 0.15 % of residual in bypass against 1.2-4.1 % when regulated was tried."""
        if self.compare[fit.COMPARED] < 3:
            self.residual = None
            return
        distortion = self.compare[fit.DISTORTION]
        residual = self.compare[fit.RESIDUAL]
        passed = self.compare[fit.PASSED]
        self.residual = min(60000, (residual + 5) // 10)
        phase = self.compare[fit.PHASE]
        if phase > FAR or phase < -FAR:
            self.evidence |= PHASE_FAR
            return
        if distortion < 150:
            self.evidence |= CLEAN
            if residual >= 600:
                self._vote(False, 1, OWN_WAVE)
        elif residual <= max(60, distortion // 3) and 700 <= passed <= 1300:
            self._vote(True, 1, COPY)
        elif residual >= max(150, distortion * 6 // 10) and passed < 500:
            self._vote(False, 1, OWN_WAVE)

    def _forget_slope(self):
        self.slope = None
        self.slow_in = 0
        self.slow_out = 0
        self.squares_in = 0
        self.squares_out = 0
        self.squares_up = 0  # of squares_in, those of rises
        self.products = 0

    def _fluctuations(self, fine_in, fine_out):
        """Regress the output's slow fluctuations on the input's (deviation from a 16 s mean)."""
        if self.slow_in == 0:
            self.slow_in = fine_in * 16
            self.slow_out = fine_out * 16
        deviation_in = fine_in - (self.slow_in >> 4)
        deviation_out = fine_out - (self.slow_out >> 4)
        self.slow_in += deviation_in
        self.slow_out += deviation_out
        self.squares_in -= self.squares_in >> 5
        self.squares_out -= self.squares_out >> 5
        self.products -= self.products // 32
        self.squares_up -= self.squares_up >> 5
        if DEVIATION_MIN <= abs(deviation_in) <= DEVIATION_MAX and abs(deviation_out) <= DEVIATION_MAX:
            square = deviation_in * deviation_in
            self.squares_in += square
            self.squares_up += square if deviation_in > 0 else 0
            self.squares_out += deviation_out * deviation_out
            self.products += deviation_in * deviation_out
        # A single step is no fluctuation: both directions must have been seen.
        least = min(self.squares_up, self.squares_in - self.squares_up)
        if least < SLOPE_SQUARES_MIN:
            self.slope = None
            return
        self.slope = max(-30000, min(30000, self.products // (self.squares_in // 1000)))
        back = self.products // (self.squares_out // 1000 + 1)
        fit_1000 = self.slope * max(-30000, min(30000, back)) // 1000
        if self.evidence & (COPY | OWN_WAVE):
            return  # the waveform knows better
        if 700 <= self.slope <= 1300 and fit_1000 >= 700:
            self._vote(True, 1, FOLLOWS)
        elif -300 <= self.slope <= 300 and fit_1000 <= 300:
            self._vote(False, 1, STEADY)

    def _dips(self, state, tap_in, tap_out):
        if self.mean_in == 0:
            return
        depth_in = self.mean_in - state[tap_in + words.MIN]
        depth_out = self.mean_out - state[tap_out + words.MIN]
        if depth_in * 100 < self.nominal * 8:
            return
        if depth_out * 10 >= depth_in * 6:
            if self.run[DEAD] == 0:
                self._vote(True, ENOUGH, DIP_PASSED)
        elif depth_out * 4 <= depth_in:
            self._vote(False, ENOUGH, DIP_BLOCKED)

    def _forget_phase(self):
        self.slip = None
        self.phases = []
        self.lock_s = 0
        self.still_s = 0

    def _phase(self):
        """Follow the phase between the taps over 10 s; a bypass can't slip."""
        phase = self.compare[fit.PHASE]
        if self.phases:
            last = self.phases[-1]
            phase = last + (phase - last + 18000) % 36000 - 18000
            self.still_s = self.still_s + 1 if -STILL_MAX <= phase - last <= STILL_MAX else 0
        self.phases.append(phase)
        if len(self.phases) <= 10:
            return
        self.phases.pop(0)
        moved = self.phases[-1] - self.phases[0]
        if abs(self.phases[0]) > 1 << 28:
            self.phases = [value % 36000 for value in self.phases[-1:]]
        self.slip = max(-30000, min(30000, moved // 10))
        if abs(moved) >= SLIP_MIN:
            self.slip_seen = True
            self.slip_s += 1
            self.lock_s = 0
            self.bypass_votes = 0
        elif abs(moved) <= LOCK_MAX:
            self.lock_s += 1
            if self.lock_s >= LOCK_S:
                self.slip_seen = False
                self.slip_s = 0

    def _weigh(self, state, tap_in, tap_out):
        """Return the state of two live taps."""
        if self.contact is not None:
            self.evidence |= CONTACT
            return self.contact
        if self.slip_seen:
            self.evidence |= SLIP
            return self._slipping(state[tap_in + words.FREQUENCY])
        if self.state == STATE_STORED_ENERGY and self.still_s < STILL_S:
            return STATE_STORED_ENERGY
        if self.ups_class != VFI:
            # The output follows the input in both modes: only what was carried proves anything.
            return STATE_NORMAL if self.carried_age_s < EXPIRY_S else STATE_UNDETERMINED
        if self.bypass_votes >= ENOUGH and self.bypass_votes > 2 * self.own_votes:
            return STATE_BYPASS
        if self.own_votes >= ENOUGH and self.own_votes > 2 * self.bypass_votes:
            return STATE_NORMAL
        return STATE_UNDETERMINED

    def _slipping(self, frequency):
        """An inverter that runs free beside a good input lives on its battery; beside a bad one, unclear."""
        good = abs(frequency - self.hertz * 1000) <= self.hertz * 10
        if (good and self.slip_s >= 30) or self.state == STATE_STORED_ENERGY:
            return STATE_STORED_ENERGY
        return STATE_UNDETERMINED

    def values(self):
        """Return the fields of message `supply_state`."""
        return (self.state, self.previous, self.evidence, self.residual, self.slope, self.slip)
