"""The disk under the store: errors, no room, and what a power cut leaves of a commit.

The log is synced at each commit, and the file before the log begins anew. So a cut leaves the file and the
log as they were, plus any of the sectors that the commit in hand was writing.
"""

import sqlite3

SECTOR = 512


class HostDied(BaseException):
    """The host's process is gone at this very statement; `left` is what the disk holds then."""

    def __init__(self, left):
        super().__init__()
        self.left = left


class Disk:
    """Stand between the writer and its connection."""

    def __init__(self, real, path, faults):
        self.real, self.path, self.faults = real, path, faults

    def __getattr__(self, name):
        return getattr(self.real, name)

    def execute(self, sql, parameters=()):
        """Pass a statement on; a commit may be the host's last."""
        if sql == "COMMIT":
            return self._commit()
        self._may_fail(0.001)
        return self.real.execute(sql, parameters)

    def executemany(self, sql, rows):
        """Pass rows on."""
        self._may_fail(0.001)
        return self.real.executemany(sql, rows)

    def _commit(self):
        faults = self.faults
        self._may_fail(0.01)
        if faults.hits("host.kill", 0.005):
            raise HostDied(self.content())
        torn = faults.hits("disk.torn", 0.015)
        before = self.content() if torn else None
        done = self.real.execute("COMMIT")
        if torn:
            raise HostDied((before[0], self._mixed(before[1], self.content()[1])))
        if faults.hits("host.kill", 0.005):
            raise HostDied(self.content())
        return done

    def _may_fail(self, chance):
        if self.faults.hits("disk.error", chance):
            error = sqlite3.OperationalError("disk I/O error")
            error.sqlite_errorname = "SQLITE_IOERR_WRITE"
            raise error

    def _mixed(self, before, after):
        """Return the log with some of the sectors that were being written; what was synced stays."""
        chance = self.faults.random
        out = bytearray(before.ljust(len(after), b"\0"))
        written = [at for at in range(0, len(after), SECTOR) if out[at:at + SECTOR] != after[at:at + SECTOR]]
        if chance.random() < 0.4:
            kept = written[:chance.randrange(len(written) + 1)]
        else:
            share = chance.choice((0.1, 0.5, 0.95))
            kept = [at for at in written if chance.random() < share]
        for at in kept:
            out[at:at + SECTOR] = after[at:at + SECTOR]
        return bytes(out)

    def content(self):
        """Return file and log as they are now."""
        log = self.path.with_name(self.path.name + "-wal")
        return self.path.read_bytes(), log.read_bytes() if log.exists() else b""

    def fill(self):
        """Leave the database no page more."""
        pages = self.real.execute("PRAGMA page_count").fetchone()[0]
        self.real.execute(f"PRAGMA max_page_count = {pages}")

    def free(self):
        """Give it room again."""
        self.real.execute("PRAGMA max_page_count = 1000000")


def restore(path, left):
    """Put back what a dead host left."""
    path.write_bytes(left[0])
    path.with_name(path.name + "-wal").write_bytes(left[1])
    path.with_name(path.name + "-shm").unlink(missing_ok=True)
