"""The one writer: a batch and all that follows from it in one transaction, on the disk before it returns."""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from firmware_sim.contract import messages
from ingest.errors import UserError
from ingest.records import COUNTERS, Batch, ClockFit, Cursor, Hello, Record, Session
from ingest.store.connect import explain, open_writable
from ingest.store.lock import WriterLock
from ingest.store.migrations import migrate
from ingest.store.schema import BANDS, LEVELS, SEQ_BITS, TABLES, RowPacker, field_rows, insert_sql, rollup_sql

# A trend comes each second; a longer step means that a second was not recorded.
TREND_STEP_MS_MAX = 1500

_SESSION_COLUMNS = ("link", "opened_utc", "seen_utc", "closed_utc", "reason", "boot", *COUNTERS)
_SESSION_SQL = (
    insert_sql("session", _SESSION_COLUMNS).replace("OR IGNORE ", "")
    + " ON CONFLICT (link, opened_utc) DO UPDATE SET "
    + ", ".join(
        f"{name} = excluded.{name}" for name in _SESSION_COLUMNS if name not in ("link", "opened_utc")
    )
)


@dataclass(slots=True, kw_only=True)
class _Tail:
    """Remember the end of a boot's trends: where the run began, its last tick, the codes in force."""

    run_first: int | None
    run_last: int
    codes: tuple[int, ...] | None


class Writer:
    """Write one store. Everything is committed durably when a method returns."""

    def __init__(self, path: str | Path, utc_ms: int) -> None:
        """Open, lock and migrate the store; `utc_ms` stamps the migration. Raise UserError if it can't be."""
        self.path = Path(path)
        if not self.path.parent.is_dir():
            raise UserError(f"The folder of {path} doesn't exist; make it or name another file with --store.")
        self._lock = WriterLock(self.path)
        try:
            self.connection = open_writable(self.path)
            with self._explained():
                migrate(self.connection, utc_ms)
        except BaseException:
            self._lock.close()
            raise
        self._packers = {message_id: RowPacker(message_id) for message_id in TABLES}
        self._rollups = [rollup_sql(level) for level in LEVELS]
        names = [row[0] for row in field_rows(messages.TREND)]
        first = names.index(BANDS[0])
        assert tuple(names[first : first + len(BANDS)]) == BANDS
        self._codes = slice(first + 2, first + 2 + len(BANDS))
        self._tails: dict[int, _Tail] = {}
        self._last_seq: dict[int, int] = {}

    @contextmanager
    def _explained(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise explain(error, str(self.path)) or error from error

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """Run the body in one transaction; all of it is on the disk afterwards, or none of it."""
        with self._explained():
            self.connection.execute("BEGIN IMMEDIATE")
            try:
                yield self.connection
                self.connection.execute("COMMIT")
            except BaseException:
                if self.connection.in_transaction:
                    self.connection.execute("ROLLBACK")
                # What was remembered may be ahead of the disk now.
                self._tails.clear()
                self._last_seq.clear()
                raise

    def open_boot(self, hello: Hello, utc_ms: int, site: str = "", bed: str = "") -> Cursor:
        """Note the module and its boot, return how far that boot is committed.

        Empty `site` or `bed` leave earlier labels alone.
        """
        with self.transaction() as connection:
            connection.execute(
                "INSERT INTO module VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (id) DO UPDATE SET "
                "emulated = excluded.emulated, profile = excluded.profile, firmware = excluded.firmware, "
                "nominal_v = excluded.nominal_v, nominal_hz = excluded.nominal_hz, "
                "site = CASE excluded.site WHEN '' THEN site ELSE excluded.site END, "
                "bed = CASE excluded.bed WHEN '' THEN bed ELSE excluded.bed END, "
                "last_utc = excluded.last_utc",
                (
                    hello.module,
                    hello.emulated,
                    hello.profile,
                    hello.firmware,
                    hello.nominal_v,
                    hello.nominal_hz,
                    site,
                    bed,
                    utc_ms,
                    utc_ms,
                ),
            )
            connection.execute(
                "INSERT INTO boot (module, boot_id, revision, digest_low, digest_high, firmware, emulated, "
                "first_utc, last_seq, last_tick, utc0, rate_ppb) VALUES (?, ?, ?, ?, ?, ?, ?, ?, 0, 0, ?, 0) "
                "ON CONFLICT (module, boot_id) DO NOTHING",
                (
                    hello.module,
                    hello.boot_id,
                    hello.revision,
                    hello.digest_low,
                    hello.digest_high,
                    hello.firmware,
                    hello.emulated,
                    utc_ms,
                    utc_ms - hello.tick,
                ),
            )
            key, last_seq, last_tick = connection.execute(
                "SELECT id, last_seq, last_tick FROM boot WHERE module = ? AND boot_id = ?",
                (hello.module, hello.boot_id),
            ).fetchone()
            return Cursor(boot=key, last_seq=last_seq, last_tick=last_tick, fit=self._fit(key))

    def _fit(self, boot: int) -> ClockFit | None:
        row = self.connection.execute(
            "SELECT tick, utc0, rate_ppb, residual_ms, module_utc, step FROM clock WHERE boot = ? "
            "ORDER BY tick DESC LIMIT 1",
            (boot,),
        ).fetchone()
        if row is None:
            return None
        return ClockFit(
            tick=row[0],
            utc0=row[1],
            rate_ppb=row[2],
            residual_ms=row[3],
            module_utc=row[4],
            step=bool(row[5]),
        )

    def commit(self, batches: Sequence[Batch]) -> None:
        """Write batches of any number of boots in one transaction."""
        with self.transaction() as connection:
            for batch in batches:
                self._put_batch(connection, batch)

    def put_session(self, session: Session, boot: int | None = None) -> None:
        """Write the counters of a link that has no boot to commit for."""
        with self.transaction() as connection:
            _put_session(connection, session, boot)

    def _put_batch(self, connection: sqlite3.Connection, batch: Batch) -> None:
        boot = batch.boot
        before = self._committed(boot)
        for message_id, records in batch.records.items():
            packer = self._packers[message_id]
            rows = packer.rows(boot, records)
            connection.executemany(packer.sql, rows)
            if message_id == messages.TREND:
                self._put_runs_and_bands(connection, boot, rows)
        if messages.TREND in batch.records:
            span = ((boot << SEQ_BITS) | before, (boot << SEQ_BITS) | max(before, batch.last_seq))
            for sql in self._rollups:
                connection.execute(sql, span)
        if messages.COMMAND_RESULT in batch.records:
            _put_answers(connection, batch, batch.records[messages.COMMAND_RESULT])
        connection.executemany(
            "INSERT INTO gap VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (boot, first_seq) DO UPDATE SET "
            "last_seq = max(last_seq, excluded.last_seq), to_tick = max(to_tick, excluded.to_tick), "
            "count = max(count, excluded.count), kinds = kinds | excluded.kinds, reason = excluded.reason",
            [
                (
                    boot,
                    gap.first_seq,
                    gap.last_seq,
                    gap.from_tick,
                    gap.to_tick,
                    gap.count,
                    gap.kinds,
                    gap.reason,
                )
                for gap in batch.gaps
            ],
        )
        self._put_fits(connection, batch)
        connection.execute(
            "UPDATE boot SET last_seq = max(last_seq, ?), last_tick = max(last_tick, ?) WHERE id = ?",
            (batch.last_seq, batch.last_tick, boot),
        )
        _put_session(connection, batch.session, boot)
        self._last_seq[boot] = max(before, batch.last_seq)

    def _committed(self, boot: int) -> int:
        if boot not in self._last_seq:
            row = self.connection.execute("SELECT last_seq FROM boot WHERE id = ?", (boot,)).fetchone()
            assert row is not None, "a batch for a boot that was never opened"
            self._last_seq[boot] = row[0]
        return self._last_seq[boot]

    def _put_fits(self, connection: sqlite3.Connection, batch: Batch) -> None:
        for fit in batch.fits:
            connection.execute(
                "INSERT OR REPLACE INTO clock VALUES (?, ?, ?, ?, ?, ?, ?)",
                (batch.boot, fit.tick, fit.utc0, fit.rate_ppb, fit.residual_ms, fit.module_utc, fit.step),
            )
        if batch.fits:
            fit = batch.fits[-1]
            connection.execute(
                "UPDATE boot SET utc0 = ?, rate_ppb = ? WHERE id = ?", (fit.utc0, fit.rate_ppb, batch.boot)
            )
        connection.execute(
            "UPDATE module SET last_utc = max(last_utc, ?) WHERE id = (SELECT module FROM boot WHERE id = ?)",
            (batch.session.seen_utc, batch.boot),
        )

    def _tail(self, connection: sqlite3.Connection, boot: int) -> _Tail:
        if boot not in self._tails:
            run = connection.execute(
                "SELECT first_tick, last_tick FROM run WHERE boot = ? ORDER BY first_tick DESC LIMIT 1",
                (boot,),
            ).fetchone()
            band = connection.execute(
                f"SELECT {', '.join(BANDS)} FROM band WHERE id > ? AND id <= ? ORDER BY id DESC LIMIT 1",
                (boot << SEQ_BITS, (boot + 1) << SEQ_BITS),
            ).fetchone()
            self._tails[boot] = _Tail(
                run_first=run[0] if run else None, run_last=run[1] if run else 0, codes=band
            )
        return self._tails[boot]

    def _put_runs_and_bands(
        self, connection: sqlite3.Connection, boot: int, rows: list[tuple[int, ...]]
    ) -> None:
        tail = self._tail(connection, boot)
        codes = self._codes
        runs, bands = [], []
        for row in rows:
            tick = row[1]
            if tail.run_first is not None and tick <= tail.run_last:
                continue
            if tail.run_first is None or tick - tail.run_last > TREND_STEP_MS_MAX:
                if tail.run_first is not None:
                    runs.append((boot, tail.run_first, tail.run_last))
                tail.run_first, tail.codes = tick, None
            tail.run_last = tick
            if row[codes] != tail.codes:
                tail.codes = row[codes]
                bands.append((row[0], tick, *row[codes]))
        if tail.run_first is not None:
            runs.append((boot, tail.run_first, tail.run_last))
        connection.executemany(
            "INSERT INTO run VALUES (?, ?, ?) ON CONFLICT (boot, first_tick) "
            "DO UPDATE SET last_tick = max(last_tick, excluded.last_tick)",
            runs,
        )
        connection.executemany(
            f"INSERT OR IGNORE INTO band VALUES ({', '.join('?' * (2 + len(BANDS)))})", bands
        )

    def close(self) -> None:
        """Fold the write-ahead log into the file and give the lock back."""
        try:
            with self._explained():
                self.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        finally:
            self.connection.close()
            self._lock.close()


def _put_session(connection: sqlite3.Connection, session: Session, boot: int | None) -> None:
    connection.execute(
        _SESSION_SQL,
        (
            session.link,
            session.opened_utc,
            session.seen_utc,
            session.closed_utc,
            session.reason,
            boot,
            *(session.counters.get(name, 0) for name in COUNTERS),
        ),
    )


def _put_answers(connection: sqlite3.Connection, batch: Batch, records: list[Record]) -> None:
    for _, _, payload in records:
        decoded = messages.decode(messages.COMMAND_RESULT, payload)
        assert decoded is not None, "the decoder lets only whole messages pass"
        (command_seq, _, result, detail), text = decoded
        connection.execute(
            "UPDATE host_command SET answered_utc = ?, result = ?, detail = ?, answer = ? "
            "WHERE boot = ? AND command_seq = ? AND answered_utc IS NULL",
            (
                batch.session.seen_utc,
                result,
                detail,
                text.decode("utf-8", "replace"),
                batch.boot,
                command_seq,
            ),
        )
