"""What the store must hold, in the plainest words: dictionaries that commits are added to, all or nothing."""

from firmware_sim.contract import messages
from ingest.store.schema import SEQ_MASK, TABLES, RowPacker


class Model:
    """Follow each commit. `records`: boot -> sequence -> (kind, tick, payload); `gaps`: boot -> ranges."""

    def __init__(self):
        self.records, self.gaps, self.cursor, self.boots = {}, {}, {}, {}
        self.pending = None
        self.packers = {kind: RowPacker(kind) for kind in TABLES}

    def begin(self, batches):
        """A commit was asked for; whether it came to be is not known yet."""
        self.pending = batches

    def succeed(self):
        """The commit in hand is on the disk."""
        for batch in self.pending or ():
            self._add(batch)
        self.pending = None

    def _add(self, batch):
        kept = self.records.setdefault(batch.boot, {})
        for kind, records in batch.records.items():
            for seq, tick, payload in records:
                kept.setdefault(seq, (kind, tick, payload))
        self.gaps.setdefault(batch.boot, []).extend((gap.first_seq, gap.last_seq) for gap in batch.gaps)
        self.cursor[batch.boot] = max(self.cursor.get(batch.boot, 0), batch.last_seq)

    def settle(self, connection):
        """Learn from a reopened store whether the commit in hand came to be; all of it or nothing."""
        if self.pending is None:
            return
        found = dict(connection.execute("SELECT id, last_seq FROM boot"))
        # One commit may hold several batches of a boot: the last one says where its cursor then is.
        ends = {one.boot: one.last_seq for one in self.pending if one.last_seq}
        if ends and all(found.get(boot) == end for boot, end in ends.items()):
            self.succeed()
        self.pending = None

    def covered(self, boot, upto):
        """Return the first sequence up to `upto` that is neither stored nor explained, or None."""
        explained = set()
        for first, last in self.gaps.get(boot, ()):
            explained.update(range(first, last + 1))
        kept = self.records.get(boot, {})
        return next((seq for seq in range(1, upto + 1) if seq not in kept and seq not in explained), None)

    def differences(self, connection):
        """Return the first difference between model and store in words, or None."""
        boots = {boot for (boot,) in connection.execute("SELECT id FROM boot")}
        for boot in sorted(boots | set(self.records)):
            found = self._stored(connection, boot)
            wanted = self._rows(boot)
            for key in sorted(set(found) | set(wanted)):
                if found.get(key) != wanted.get(key):
                    return f"boot {boot}, {key}: stored {found.get(key)}, the model says {wanted.get(key)}"
            gaps = {one[0]: one[1] for one in connection.execute(
                "SELECT first_seq, last_seq FROM gap WHERE boot = ?", (boot,))}
            if gaps != dict(self.gaps.get(boot, ())):
                return f"boot {boot}: gaps {gaps}, the model says {self.gaps.get(boot)}"
            (cursor,) = connection.execute("SELECT last_seq FROM boot WHERE id = ?", (boot,)).fetchone()
            if cursor != self.cursor.get(boot, 0):
                return f"boot {boot}: cursor {cursor}, the model says {self.cursor.get(boot, 0)}"
            trends = sum(kind == messages.TREND for kind, _, _ in self.records.get(boot, {}).values())
            for level in ("minute", "hour", "day"):
                (summed,) = connection.execute(
                    f"SELECT coalesce(sum(n), 0) FROM rollup_{level} WHERE id >> 32 = ?", (boot,)).fetchone()
                if summed != trends:
                    return f"boot {boot}: {summed} seconds in the roll-up by {level}, {trends} trends"
        return None

    def _rows(self, boot):
        rows = {}
        for seq, (kind, tick, payload) in self.records.get(boot, {}).items():
            rows[seq, TABLES[kind]] = self.packers[kind].rows(boot, [(seq, tick, payload)])[0]
        return rows

    @staticmethod
    def _stored(connection, boot):
        rows = {}
        for table in TABLES.values():
            for row in connection.execute(f"SELECT * FROM {table} WHERE id >> 32 = ?", (boot,)):
                rows[row[0] & SEQ_MASK, table] = row
        return rows
