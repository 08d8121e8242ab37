"""Write an invented night with the real writer, quickly, for tests of what reads a store.

Nothing here is measured or simulated by the project's own physics: values are drawn so that each thing a
screen must show happens once, at a known time. Times below are minutes from the start of the night.
"""

import random

from firmware_sim.contract import alarms, messages, settings
from ingest.records import Batch, ClockFit, Gap, Hello, Session
from ingest.store.writer import Writer

MODULE = 0x4E4B0007
OUTAGE = (100.0, 122.0)
DARK = (180.0, 192.0)
IMPURE = (250.0, 290.0)
APART = (330.0, 330.0 + 35 / 60)
BYPASS = (400.0, 430.0)
BREATH_S = 5
RISING = [500 + 1500 * min(i / 120, 1.0) for i in range(140)]
FALLING = [500 + 1500 * 2.718281828 ** (-i / 50) for i in range(100 * BREATH_S - 140)]
SHAPE = [round(one) for one in (*RISING, *FALLING)]
COUNTERS = {"bytes": 1000, "frames": 100, "records": 90}


def inside(minute, span):
    """Tell whether a minute lies in a span."""
    return span[0] <= minute < span[1]


class Night:
    """Make records of one boot, second by second, and hand them to the writer in batches."""

    def __init__(self, path, start_utc, boot_id=1, module=MODULE, emulated=True, seed=7):
        self.writer = Writer(path, start_utc)
        self.random = random.Random(seed)
        self.noise = [round(self.random.gauss(0, 8)) for _ in range(10_000)]
        self.start = start_utc
        self.boot_id, self.module, self.emulated = boot_id, module, emulated
        self.open_boot(boot_id, start_utc)

    def open_boot(self, boot_id, utc):
        """Begin a boot whose tick 0 is at `utc`."""
        hello = Hello(
            module=self.module, boot_id=boot_id, revision=1, digest_low=1, digest_high=2, nonce_low=0,
            nonce_high=0, emulated=self.emulated, profile=1, firmware="invented", oldest_seq=1, next_seq=1,
            tick=0, module_utc=utc, nominal_v=230, nominal_hz=50,
        )  # fmt: skip
        self.boot = self.writer.open_boot(hello, utc, "invented ward", "bed 7").boot
        self.utc0, self.seq, self.records, self.tick = utc, 0, {}, 0

    def put(self, kind, tick, values, tail=None):
        """Queue one record."""
        self.seq += 1
        self.tick = max(self.tick, tick)
        self.records.setdefault(kind, []).append((self.seq, tick, messages.encode(kind, values, tail)))

    def commit(self, gaps=()):
        """Write what is queued."""
        now = self.utc0 + self.tick
        session = Session(
            link="invented", opened_utc=self.start, seen_utc=now, closed_utc=None, reason="",
            counters=COUNTERS,
        )  # fmt: skip
        fit = ClockFit(tick=self.tick, utc0=self.utc0, rate_ppb=0, residual_ms=0, module_utc=now, step=False)
        self.writer.commit([Batch(
            boot=self.boot, last_seq=self.seq, last_tick=self.tick, session=session, records=self.records,
            gaps=tuple(gaps), fits=(fit,),
        )])  # fmt: skip
        self.records = {}

    def settings(self, preset=0):
        """Report the default settings."""
        values = settings.defaults(preset)
        self.put(messages.SETTINGS, self.tick, (1, 77, 0, 1, 0), values)

    def alarm(self, name, minute, transition, value=None, limit=None, cause=None, flags=0):
        """Record one alarm transition at a minute of this boot."""
        row = alarms.ROWS[alarms.ID_OF[name]]
        code = alarms.TRANSITIONS.index(transition)
        tick = round(minute * 60_000)
        self.put(messages.ALARM, tick, (row.id, code, row.priority, flags, value, limit, cause))

    def second(self, tick, minute):
        """Record the second that ends at `tick`; `minute` is its place in the story."""
        rnd = self.random.gauss
        dead, apart = inside(minute, OUTAGE), inside(minute, APART)
        impure, bypass = inside(minute, IMPURE), inside(minute, BYPASS)
        mains = 4 + rnd(0, 0.4) if dead else 226 + rnd(0, 2.5)
        out = mains if bypass else 230 + rnd(0, 0.5)
        state = 2 if dead else 3 if bypass else 0 if minute < 8 else 1
        phase = (tick // 1000) % BREATH_S
        wave = self.wave(phase, apart)
        if phase == 1 and tick > 7000 and not inside(minute - 2 / 60, APART):
            # A module is sure of a breath 120 ms after the next one's inspiration.
            self.put(messages.BREATH, tick - 480, (
                0, 2000 + round(rnd(0, 40)), None, 500 + round(rnd(0, 15)), 900, 480, 1400, 3600,
                1200 + round(rnd(0, 20)), 0,
            ))  # fmt: skip
        oxygen = 77.5 + rnd(0, 0.3) if impure else 93.2 + rnd(0, 0.3)
        flags = 32 | 512 | (8 if inside(minute, (OUTAGE[0] + 1, OUTAGE[0] + 3)) else 0)
        low, high, mean = min(wave), max(wave), sum(wave) // len(wave)
        v = lambda volts: max(round(volts * 100), 0)  # noqa: E731
        self.put(messages.TREND, tick, (
            v(mains), v(mains - abs(rnd(0, 2))), v(mains + abs(rnd(0, 2))),
            v(out), v(out - 0.8), v(out + 0.8),
            None if dead else 50000 + round(rnd(0, 15)), 50000, mean, low, high, round(oxygen * 100), 5020,
            900 if dead else 1200, state, 0, 1, 0, 0, flags, 90 if flags & 8 else 0, None, None, None, None,
        ))  # fmt: skip
        self.put(messages.PRESSURE_WAVE, tick, (), wave)

    def wave(self, phase, apart):
        """Return a second of pressure in wire steps: up in 1.4 s, down with a time constant of 0.5 s."""
        first = self.random.randrange(len(self.noise) - 100)
        noise = self.noise[first : first + 100]
        if apart:
            return [20 + one for one in noise]
        return [value + one for value, one in zip(SHAPE[phase * 100 : phase * 100 + 100], noise, strict=True)]

    def seconds(self, first, last, story=0):
        """Record the seconds that end after first up to last (s since boot), committing each five minutes."""
        for second in range(first + 1, last + 1):
            self.second(second * 1000, story + second / 60)
            if second % 300 == 0:
                self.commit()
        self.commit()

    def close(self):
        """Close the store."""
        self.writer.close()


def tell(night, hours, alarms_too=True):
    """Record `hours` of the story, with the dark stretch as a new boot."""
    minutes = hours * 60
    night.settings()
    if alarms_too:
        for name, minute, transition, value, limit in STORY_ONE:
            if minute < min(minutes, DARK[0]):
                night.alarm(name, minute, transition, value, limit)
    night.seconds(0, round(min(minutes, DARK[0]) * 60))
    if minutes <= DARK[1]:
        return
    night.commit(gaps=[Gap(
        first_seq=night.seq + 1, last_seq=night.seq + 9, from_tick=night.tick, to_tick=night.tick + 4000,
        count=9, kinds=0, reason="overwritten",
    )])  # fmt: skip
    night.open_boot(night.boot_id + 1, night.start + round(DARK[1] * 60_000))
    night.settings()
    if alarms_too:
        for name, minute, transition, value, limit in STORY_TWO:
            if minute < minutes:
                night.alarm(name, minute - DARK[1], transition, value, limit)
    night.seconds(0, round((minutes - DARK[1]) * 60), story=DARK[1])


STORY_ONE = (
    ("battery_not_proven", 8.0, "cleared", None, None),
    ("supply_interrupted", OUTAGE[0], "raised", 180, 4000),
    ("stored_energy", OUTAGE[0] + 0.1, "raised", 2, None),
    ("supply_interrupted", OUTAGE[0] + 1, "acknowledged", 180, 4000),
    ("battery_short", OUTAGE[0] + 12, "raised", 590, 600),
    ("battery_short", OUTAGE[1] + 1, "cleared", 700, 600),
    ("stored_energy", OUTAGE[1] + 1, "cleared", 1, None),
    ("supply_interrupted", OUTAGE[1] + 1, "cleared", 9900, 4000),
)
STORY_TWO = (
    ("limits_unconfirmed", DARK[1] + 0.1, "raised", 1, None),
    ("limits_unconfirmed", DARK[1] + 9, "cleared", 0, None),
    ("purity_low", IMPURE[0] + 0.2, "raised", 7750, 8200),
    ("purity_low", IMPURE[1] + 0.2, "cleared", 9310, 8200),
    ("disconnected", APART[0] + 0.17, "raised", 20, 1000),
    ("disconnected", APART[1] + 0.05, "cleared", 2000, 1000),
    ("bypass", BYPASS[0] + 0.2, "raised", 3, None),
    ("bypass", BYPASS[1] + 0.2, "cleared", 1, None),
)


def write_night(path, start_utc, hours, **options):
    """Write a store with the first `hours` of the story; return its path."""
    night = Night(path, start_utc, **options)
    tell(night, hours)
    night.close()
    return path
