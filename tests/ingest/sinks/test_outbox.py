"""Lines that the database writes, against the same rows put together one by one in plain Python."""

import random
import sqlite3

import pytest

from firmware_sim.contract import alarms, messages
from ingest.inline import Inline
from ingest.pipeline import this_contract
from ingest.records import ClockFit
from ingest.store.outbox import Outbox
from tests.support.module_double import ModuleDouble
from tests.support.store_check import lines_of

UTC = 1_700_000_000_000
# Fits that run fast and slow; the first one is younger than the first records.
FITS = [(50_000, UTC - 777, -13_333), (90_000, UTC + 5, 150_007), (200_000, UTC - 3_600_000, -1)]

TAGGED = ([one.name for one in alarms.ROWS], alarms.TRANSITIONS)


@pytest.fixture
def store(tmp_path):
    """Record five minutes, then tear holes into the trends, date them anew and add alarms of all codes."""
    module, path = ModuleDouble(this_contract()), tmp_path / "s.db"
    inline = Inline(path, UTC, site="100 % north", bed="é")
    for second in range(1, 301):
        module.second()
        module.receive(inline.feed(module.send(), second * 1000, UTC + second * 1000))
    inline.close()
    chance = random.Random(3)
    connection = sqlite3.connect(path)
    names = [row[1] for row in connection.execute("PRAGMA table_info(trend)")][2:]
    optional = [row[0] for row in messages.MESSAGES[1][4] if row[1].endswith("?")]
    assert set(optional) < set(names)
    for (key,) in connection.execute("SELECT id FROM trend").fetchall():
        for name in chance.sample(optional, chance.choice((0, 0, 1, 9))):
            connection.execute(f"UPDATE trend SET {name} = NULL WHERE id = ?", (key,))
    connection.execute("DELETE FROM clock")
    connection.executemany("INSERT INTO clock VALUES (1, ?, ?, ?, 0, NULL, 0)", FITS)
    codes = [(row, transition) for row in (0, 7, len(alarms.ROWS)) for transition in range(3)]
    connection.executemany(
        "INSERT INTO alarm VALUES (?, ?, ?, ?, 1, 0, ?, NULL, NULL)",
        [((1 << 32) + 5000 + n, 60_000 + n, *one, -(2**31) + 1 + n) for n, one in enumerate(codes)],
    )
    connection.commit()
    connection.close()
    return path


def by_hand(path):
    """Put the lines of trends and alarms together row by row."""
    connection = sqlite3.connect(path)
    connection.row_factory = sqlite3.Row
    fits = [
        ClockFit(tick=tick, utc0=utc0, rate_ppb=rate, residual_ms=0, module_utc=None, step=False)
        for tick, utc0, rate in FITS
    ]
    out = []
    for message_id, tags in ((messages.TREND, ()), (messages.ALARM, ("row", "transition"))):
        _, name, _, _, fields, _ = messages.MESSAGES[[row[0] for row in messages.MESSAGES].index(message_id)]
        for row in connection.execute(f"SELECT * FROM {name} ORDER BY id"):
            labels = {"bed": "é", "module": "00001234", "simulated": "yes", "site": r"100\ %\ north"}
            for tag, values in zip(tags, TAGGED, strict=False):
                labels[tag] = values[row[tag]] if row[tag] < len(values) else str(row[tag])
            head = ",".join([name, *(f"{tag}={labels[tag]}" for tag in sorted(labels))])
            values = ",".join(
                f"{one[0]}={row[one[0]]}e{'-' if one[3] > 1 else ''}{len(str(one[3])) - 1}"
                for one in fields
                if one[0] not in tags and row[one[0]] is not None
            )
            fit = ([one for one in fits if one.tick <= row["tick"]] or fits[:1])[-1]
            out.append(f"{head} {values} {fit.utc(row['tick'])}")
    connection.close()
    return out


def test_lines_are_what_the_rows_say(store):
    outbox = Outbox(store, "x")
    found = [line for line in lines_of(outbox, 1, 0, 9999) if not line.startswith("breath")]
    wanted = by_hand(store)
    assert len(wanted) == 309
    assert len({line.rsplit(" ", 2)[1].count("=") for line in wanted}) > 4
    assert sorted(found) == sorted(wanted)
    parts = [line for upto in range(0, 6000, 100) for line in lines_of(outbox, 1, upto, upto + 100)]
    assert sorted(line for line in parts if not line.startswith("breath")) == sorted(wanted)
    assert lines_of(outbox, 1, 9999, 99_999) == []
    outbox.close()
