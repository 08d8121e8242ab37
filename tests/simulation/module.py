"""The far side: the real firmware on the emulated board's flash, clock and power, fed with cheap samples.

Beside it stands the truth: each record that the firmware ever made, and each one that its ring gave up.
"""

import math
import struct
from array import array
from dataclasses import dataclass, field

from firmware_sim.board import faults as sensors
from firmware_sim.board.board import CAUSE_BUTTON, CAUSE_POWER, CAUSE_WATCHDOG, Board
from firmware_sim.board.clock import RealTimeClock
from firmware_sim.board.flash import Flash, PowerCut
from firmware_sim.board.profiles import Profile
from firmware_sim.contract import STEP_MS, alarms, channels, settings
from firmware_sim.core.app import App
from firmware_sim.core.block import Block
from firmware_sim.core.ring import BLOCK, CLASS_OF, CLASSES, EVENTS, HEADER
from firmware_sim.core.settings_store import HEAD_SIZE, SUM_SIZE, SettingsStore
from firmware_sim.ports.bridge.hal import LAMP, StepHal

UTC_MS = 1_750_000_000_000
PAGE = 4096
PROGRAM_PAGE = 256
SET_BYTES = HEAD_SIZE + 4 * settings.COUNT + SUM_SIZE
UNCONFIRMED = settings.ID_OF["module.unconfirmed"]


@dataclass(eq=False)
class Life:
    """One run of the firmware: what it made, what its ring gave up; ticks are widened."""

    boot_id: int
    made: dict = field(default_factory=dict)
    lost: set = field(default_factory=set)
    alarms_lost: int = 0
    over: bool = False


class RaggedFlash(Flash):
    """A flash whose power cut leaves half-programmed bits behind, as the part itself would."""

    def __init__(self, pages, chance):
        super().__init__(pages)
        self.chance = chance

    def write(self, page, offset, data):
        """Program; where the power fails, bits of the same program page are programmed by chance."""
        done = self.left
        try:
            super().write(page, offset, data)
        except PowerCut:
            at = page * PAGE + offset
            for index in range(done, min(done + self.chance.choice((0, 4, PROGRAM_PAGE)), len(data))):
                self.memory[at + index] &= data[index] | self.chance.randrange(256)
            raise


def _sine(volts):
    peak = volts * math.sqrt(2) * sensors.codes_per_unit(channels.SUPPLY_IN)
    return array("h", [round(peak * math.sin(2 * math.pi * n / 64)) for n in range(320)])


def _pressures():
    # A breath of 4 s: 5 to 20 cmH2O, one second in.
    wave = [20.0 if n < 100 else 5.0 + 15.0 * math.exp(-(n - 100) / 30) for n in range(400)]
    codes = [sensors.code_of(channels.PRESSURE, value) for value in wave]
    return [array("h", codes[at:at + 10]) for at in range(0, 400, 10)]


MAINS, DEAD = _sine(230.0), array("h", [0] * 320)
BREATH = _pressures()
HIGH = array("h", [sensors.code_of(channels.PRESSURE, 70.0)] * 10)


class Module:
    """One module; `step` returns the bytes it sent. `lives` holds the truth of every run."""

    def __init__(self, faults, kernels, seed):
        self.faults, self.kernels = faults, kernels
        chance = faults.random
        ring_bytes = chance.randrange(6000, 30_000) if faults.allows("module.small_ring") else 400_000
        profile = Profile("simulated", 1, 64, ring_bytes, 1000)
        self.clock = RealTimeClock(UTC_MS, chance.randrange(-100, 101))
        self.board = Board(profile, seed, self.clock, None, flash=RaggedFlash(64, chance))
        self.late = faults.allows("clock.tick_wrap")
        self.lives = []
        self.app = self.hal = None
        self.dark_until = 0
        self.high_until = self.lost_until = 0
        self.high_since = None
        self.red = False
        self.in_force = settings.defaults()
        self.tried = []
        self.torn_settings = []
        self.block = Block()

    @property
    def life(self):
        """Return the run in hand, or the last one."""
        return self.lives[-1]

    def step(self, step, down):
        """Run one step of 100 ms with the bytes that came down."""
        self._fate(step)
        if step < self.dark_until:
            return b""
        try:
            if self.app is None:
                self._begin(step)
            if self.app is None:
                return b""
            self.board.send(down)
            return self._run(step)
        except PowerCut:
            self._die(step, self.faults.random.randrange(2, 30))
            return b""

    def _fate(self, step):
        faults, chance = self.faults, self.faults.random
        if faults.hits("clock.module_step", 0.003):
            jump = chance.choice((-86_400_000, 3_600_000, 20_000, -5000))
            self.clock.write(step * STEP_MS, max(0, self.clock.read(step * STEP_MS) + jump))
            if chance.random() < 0.3:
                self.clock.lose(step * STEP_MS)
        if self.app is not None and faults.hits("module.reset", 0.004):
            self._die(step, chance.choice((0, 0, 5, 400)))
        if self.app is not None and self.board.flash.left is None and faults.hits("flash.torn", 0.01):
            self.board.flash.cut_after(chance.choice((chance.randrange(40), chance.randrange(5000))))
        if not faults.active:
            self.board.flash.cut_after(None)
        if step >= self.high_until and chance.random() < 0.01:
            self.high_until = step + chance.randrange(5, 40)
        if step >= self.lost_until and chance.random() < 0.005:
            self.lost_until = step + chance.randrange(5, 60)

    def _die(self, step, dark):
        self.board.die(step)
        if self.lives:
            self.life.over = True
        self.board.flash.cut_after(None)
        self.app = None
        self.high_since = None
        self.red = False
        self.dark_until = step + dark

    def _begin(self, step):
        cause = self.faults.random.choice((CAUSE_POWER, CAUSE_WATCHDOG, CAUSE_BUTTON))
        if self.dark_until or not self.lives:
            cause = CAUSE_POWER
        self.dark_until = 0
        self.hal = StepHal(self.board.flash, self.board.boot(step, cause))
        self.hal.begin(*self.board.inputs(step))
        if not self._settings_are_whole(SettingsStore(self.hal).values):
            return
        app = App(self.hal, self.kernels)
        self.lives.append(Life(app.link.boot_id))
        if self.late and len(self.lives) == 1:
            app.steps = (1 << 32) // STEP_MS - self.faults.random.randrange(30, 600)
        self._adopt(app)
        self._watch(app)
        self._watch_settings(app)
        self.app = app

    def _adopt(self, app):
        # Records made while waking up carry tick 0; here the module has been awake for weeks.
        ring, life, start = app.ring, self.life, app.steps * STEP_MS
        for rank in range(CLASSES):
            at = ring.head[rank]
            while at >= 0:
                struct.pack_into("<I", ring.memory, at * BLOCK + 4, start)
                seq, _, size, kind, after = struct.unpack_from(HEADER, ring.memory, at * BLOCK)
                life.made[seq] = (kind, start, bytes(ring._payload(at, size)))
                at = after
        life.lost.update(set(range(1, ring.next_seq)) - set(life.made))

    def _watch(self, app):
        ring, life, put, count_lost = app.ring, self.life, app.ring.put, app.ring._count_lost

        def watched_put(kind, tick, payload):
            wide = app.steps * STEP_MS
            assert tick == wide & 0xFFFFFFFF
            life.made[ring.next_seq] = (kind, wide, bytes(payload))
            return put(kind, tick, payload)

        def watched_loss(seq, kind):
            life.lost.add(seq)
            if CLASS_OF[kind] == EVENTS and any(head >= 0 for head in ring.head[:EVENTS]):
                life.alarms_lost += 1
            count_lost(seq, kind)

        ring.put, ring._count_lost = watched_put, watched_loss

    def _settings_are_whole(self, found):
        allowed = [self.in_force] + ([self.tried] if self.tried else [])
        if self._plain(found) not in [self._plain(one) for one in allowed]:
            self.torn_settings.append(found)
        return not self.torn_settings

    def _watch_settings(self, app):
        store, save = app.system.store, app.system.store.save

        def watched_save(values):
            self.tried = list(values)
            if self.faults.hits("flash.torn", 0.5):
                # Erasing counts as a page; then somewhere inside the set or its sum.
                self.board.flash.cut_after(self.faults.random.choice((
                    self.faults.random.randrange(PAGE), PAGE + self.faults.random.randrange(SET_BYTES))))
            done = save(values)
            # Several sets may be made within one step.
            self.in_force = list(store.values)
            return done

        self.in_force, self.tried = list(app.system.settings), []
        store.save = watched_save

    @staticmethod
    def _plain(values):
        # Waking up after a long darkness changes this one by itself.
        return [value for index, value in enumerate(values) if index != UNCONFIRMED]

    def _run(self, step):
        block = self.block
        block.supply_in = MAINS
        block.supply_out = DEAD if step < self.lost_until else MAINS
        high = step < self.high_until
        block.pressure = HIGH if high else BREATH[step % 40]
        block.oxygen = sensors.code_of(channels.OXYGEN, 93.0) if step % 5 == 0 else None
        block.rail = sensors.code_of(channels.RAIL, 5.0) if step % 10 == 0 else None
        self.high_since = (self.high_since or self.app.steps + 1) if high else None
        self.hal.begin(*self.board.inputs(step))
        self.app.step(block)
        self.in_force = list(self.app.system.settings)
        self.tried = []
        if self.hal.clock_set is not None:
            unix_s, unix_ms = self.hal.clock_set
            self.clock.write(step * STEP_MS, unix_s * 1000 + unix_ms)
        for kind, index, on, _ in self.hal.edges:
            if kind == LAMP and index == 0:
                self.red = bool(on)
        return bytes(self.hal.up)


PRESSURE_HIGH = alarms.ID_OF["pressure_high"]
