"""A store as it is after a year: roll-ups and events, the samples pruned; quick to make.

One second a minute goes through the real writer and the stretch that was watched is then said to be whole, as
it would be had all seconds come: the roll-ups of a year and the study's reading of them are the real ones.
"""

import random
import sqlite3
from pathlib import Path

from firmware_sim.contract import messages
from ingest.store.retention import prune
from tests.support.supply_store import Supply

START = 1_735_689_600_000  # 2025-01-01 00:00 UTC
MINUTES = 365 * 1440
MONTH = 30 * 1440
"""The module begins anew each 30 days: a tick of the wire has 32 bits."""
DARK_MIN = 1440


def write_year(path: Path, minutes: int = MINUTES, events: int = 20_000) -> Path:
    """Write a year (or `minutes`) with so many events; the first day of the second month was dark."""
    draw = random.Random(4)
    night = Supply(path, START)
    runs = []
    for boot, first in enumerate(range(0, minutes, MONTH)):
        if boot:
            night.open_boot(boot + 1, START + 60_000 * first)
        night.report()
        count = min(MONTH, minutes - first)
        _month(night, count, round(events * count / minutes), draw)
        # The first minutes of the second month are dark.
        runs.append((night.boot, DARK_MIN * 60_000 if boot == 1 else 1000, 60_000 * count))
    night.close()
    with sqlite3.connect(path) as connection:
        connection.execute("DELETE FROM run")
        # Each lone second began a band of its own; one a boot is what seconds without a hole leave.
        connection.execute("DELETE FROM band WHERE id NOT IN (SELECT min(id) FROM band GROUP BY id >> 32)")
        connection.executemany("INSERT INTO run VALUES (?, ?, ?)", runs)
    connection.close()
    end = START + 60_000 * minutes
    prune(path, end, end, even_unsent=True)
    return path


def _month(night: Supply, minutes: int, events: int, draw: random.Random) -> None:
    at = sorted(draw.randrange(60_000 * (DARK_MIN + 1), 60_000 * minutes) for _ in range(events))
    free, number = 0, 0
    for minute in range(1, minutes + 1):
        tick = 60_000 * minute
        while number < len(at) and at[number] + 10_000 < tick:
            if at[number] > free:
                free = at[number] + 1000 + _event(night, number, at[number], draw)
            number += 1
        volts = 22_800 + round(draw.gauss(0, 800))
        night.put(messages.TREND, tick, (
            volts, volts - 200, volts + 200, 23000, 22950, 23050, 50000 + round(draw.gauss(0, 60)), 50000, 0,
            0, 0, 9300, 5020, None, 1, 0, 0, 0, 0, 32 | 512, 0, None, None, None, None,
        ))  # fmt: skip
        if minute % 10_000 == 0:
            night.commit()
    night.commit()


def _event(night: Supply, number: int, start_ms: int, draw: random.Random) -> int:
    """Record an event; return its length in ms."""
    kind = draw.choices((0, 1, 2), (70, 10, 20))[0]
    length = round(10 ** (draw.uniform(1.4, 4) if kind < 2 else draw.uniform(3, 6.5)))
    volts = (draw.uniform(12, 206), draw.uniform(254, 300), draw.uniform(0, 10))[kind]
    for phase, seen in ((0, 0), (1, length)):
        night.put(messages.SUPPLY_EVENT, night.tick, (
            number & 0xFFFF, 0, kind, phase, start_ms, seen, round(100 * volts), 0,
        ))  # fmt: skip
    return length
