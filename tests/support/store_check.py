"""Compare a store with what a module made: nothing acknowledged missing, nothing twice, nothing changed."""

import sqlite3

from firmware_sim.contract import messages
from ingest.store.schema import SEQ_MASK, TABLES, RowPacker


def stored(path, boot=1):
    """Return {sequence: (message id, row)} of all records of a boot; raises on a sequence in two tables."""
    connection = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    found = {}
    for message_id, table in TABLES.items():
        for row in connection.execute(f"SELECT * FROM {table} WHERE id >> 32 = ?", (boot,)):
            seq = row[0] & SEQ_MASK
            assert seq not in found, f"sequence {seq} stands twice"
            found[seq] = (message_id, row)
    connection.close()
    return found


def check_whole(path, module, upto, boot=1):
    """Assert that every record up to a sequence is stored once and as the module made it."""
    found = stored(path, boot)
    packers = {message_id: RowPacker(message_id) for message_id in TABLES}
    for seq in range(1, upto + 1):
        message_id, tick, payload = module.made[seq]
        assert seq in found, f"acknowledged record {seq} of {upto} is missing"
        (row,) = packers[message_id].rows(boot, [(seq, tick, payload)])
        assert found[seq] == (message_id, row)
    for seq in found:
        assert seq in module.made, f"record {seq} was invented"


def trends_of(path):
    connection = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    count = connection.execute("SELECT count(*) FROM trend").fetchone()[0]
    connection.close()
    return count


def lines_of(outbox, boot, after, upto):
    """Return the lines that a sink gets for a stretch of records."""
    body = outbox.body(boot, after, upto)
    return body.decode().split("\n") if body else []


__all__ = ["check_whole", "lines_of", "messages", "stored", "trends_of"]
