"""One digest of what a store holds: ticks and values of all records, no calendar time, no boot id."""

import hashlib
from pathlib import Path

from firmware_sim.contract import alarms, channels, log_codes
from ingest.store.connect import open_readable
from ingest.store.schema import SEQ_MASK, STORED

# Columns that carry calendar time or the pace of the machine; they differ between equal nights.
_BLANK = {"health": ("unix_s", "unix_ms", "loop_us_max"), "log": ("text",)}
_ROWS = 4096


def content_digest(path: str | Path) -> str:
    """Return the SHA-256 (hex) of all records of a store in order of boot and sequence, table by table.

    Two nights of one scenario and seed give the same digest at any speed and block size.
    """
    total = hashlib.sha256()
    connection = open_readable(Path(path))
    try:
        for row in STORED:
            name = row[1]
            blank = _BLANK.get(name, ())
            fields = [field[0] for field in row[4]] + ([row[5][0]] if row[5] else [])
            wanted = ", ".join(f'"{field}"' for field in fields if field not in blank)
            where = f"WHERE code != {log_codes.CLOCK}" if name == "log" else ""
            total.update(name.encode())
            columns = f"id & {SEQ_MASK}, tick, {wanted}"
            cursor = connection.execute(f"SELECT {columns} FROM {name} {where} ORDER BY id")
            while part := cursor.fetchmany(_ROWS):
                total.update(repr(part).encode())
    finally:
        connection.close()
    return total.hexdigest()


def count(path: str | Path) -> dict[str, int]:
    """Return how many alarms were raised, supply events ended, breaths found, and gaps stored."""
    raised, closed = alarms.TRANSITIONS.index("raised"), channels.EVENT_PHASES.index("closed")
    questions = {
        "alarms": f"SELECT count(*) FROM alarm WHERE transition = {raised}",
        "supply_events": f"SELECT count(*) FROM supply_event WHERE phase = {closed}",
        "breaths": "SELECT count(*) FROM breath",
        "gaps": "SELECT count(*) FROM gap",
    }
    connection = open_readable(Path(path))
    try:
        return {name: int(connection.execute(query).fetchone()[0]) for name, query in questions.items()}
    finally:
        connection.close()
