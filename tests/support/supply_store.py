"""A short invented day of supply, written with the real writer, each thing of a study once."""

import math
from pathlib import Path

from firmware_sim.contract import messages, settings
from tests.support.night_store import Night

START = 1_772_323_200_000  # 2026-03-01 00:00 UTC, a Sunday
HOURS = 4
RATE = 3200
DARK_MS = (7_200_000, 9_000_000)  # module dark from 2:00 to 2:30
CODE_V = 800 / 2048
FIFTH = 0.04


def settings_with(**changed):
    """Return the defaults of the settings with some changed: names with '.' written as '__'."""
    values = list(settings.defaults(0))
    for name, value in changed.items():
        values[settings.ID_OF[name.replace("__", ".")]] = value
    return values


class Supply(Night):
    """Write supply records at ticks of the boot."""

    def report(self, version=1, **changed):
        """Report settings."""
        self.put(messages.SETTINGS, self.tick, (version, version, 0, 1, 0), settings_with(**changed))

    def steady(self, first_s, last_s, volts=231.0, hertz=50.0, halves=()):
        """Record seconds: trend and five 10-cycle values of each tap; `halves`: 100 Urms(1/2) a second."""
        v = round(volts * 100)
        for second in range(first_s + 1, last_s + 1):
            tick = second * 1000
            self.put(messages.TREND, tick, (
                v, v - 100, v + 100, 23000, 22950, 23050, round(hertz * 1000), 50000, 0, 0, 0, 9300, 5020,
                None, 1, 0, 0, 0, 0, 32 | 512, 0, None, None, None, None,
            ))  # fmt: skip
            self.put(messages.SUPPLY_CYCLES, tick, (5, 5, 0, 0), [v] * 5 + [23000] * 5)
            some = [round(100 * one) for one in halves[100 * (second - 1) : 100 * second]]
            if some:
                self.put(messages.HALF_CYCLES, tick, (0, 0, tick - 1000 + 5, 10_000), some)
            if second % 600 == 0:
                self.commit()
        self.commit()

    def event(self, number, kind, start_ms, length_ms, volts, tap=0, flags=0):
        """Record an event, closed when length_ms isn't None."""
        self.put(messages.SUPPLY_EVENT, self.tick, (number, tap, 0, 0, start_ms, 0, 18000, 0))
        if length_ms is not None:
            self.put(messages.SUPPLY_EVENT, self.tick, (
                number, tap, kind, 1, start_ms, length_ms, round(volts * 100), flags,
            ))  # fmt: skip

    def capture(self, number, kind, start_ms, count, event=None, hertz=50.0, volts=231.0, dip=None):
        """Record a waveform of both taps; dip: (first sample, one past the last, fraction)."""
        for tap in (0, 1):
            codes = []
            for n in range(count):
                at = 2 * math.pi * hertz * n / RATE
                part = dip[2] if dip and dip[0] <= n < dip[1] and tap == 0 else 1.0
                wave = math.sin(at) + FIFTH * math.sin(5 * at)
                codes.append(round(part * volts * math.sqrt(2) * wave / CODE_V))
            pieces = [codes[at : at + 400] for at in range(0, count, 400)]
            for part, piece in enumerate(pieces):
                start = start_ms * 1000 + part * 400 * 1_000_000 // RATE
                self.put(messages.CAPTURE, self.tick, (
                    number, event, kind, tap, part, len(pieces), start // 1000, start % 1000, 16384, 0,
                ), piece)  # fmt: skip
            halves = [round(volts * 100)] * (count * 100 // RATE)
            self.put(messages.HALF_CYCLES, self.tick, (
                number, tap, start_ms + 20, round(1e6 / hertz / 2)), halves)  # fmt: skip


def write_supply(path: Path, **options) -> Path:
    """Write four hours: dips, a swell, an interruption, an open event, a dark half hour, snapshots."""
    night = Supply(path, START, **options)
    night.report()
    night.capture(1, 1, 0, 642)
    night.steady(0, 601)
    night.event(1, 0, 600_000, 500, 161.0)  # to 70 % for 0.5 s: B2, 0.255 s of sag energy
    night.capture(2, 0, 599_800, 3200, event=1, dip=(640, 2240, 0.7))
    night.steady(601, 3600)
    night.event(2, 1, 1_200_000, 300, 264.5)  # to 115 % for 0.3 s
    night.event(3, 2, 1_800_000, 240_000, 1.0)  # 4 min without supply: long
    night.event(9, 0, 2_000_000, 80, 120.0, tap=1)
    night.steady(3600, 7200)
    night.event(4, 0, 7_100_000, None, 0)  # its end is not seen: the module dies
    night.commit()
    night.open_boot(2, START + DARK_MS[1])
    night.report()
    night.steady(0, HOURS * 3600 - DARK_MS[1] // 1000)
    night.close()
    return path
