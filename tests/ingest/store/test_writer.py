"""The writer: one transaction a batch, replay harmless, one writer a store, old and new shapes."""

import errno
import os
import random
import sqlite3
import subprocess
import sys
import threading

import pytest

from firmware_sim.contract import messages
from ingest.errors import UserError
from ingest.inline import Inline
from ingest.pipeline import this_contract
from ingest.records import Batch, Gap, Hello, Session
from ingest.store import migrations
from ingest.store.health import examine
from ingest.store.lock import WriterLock
from ingest.store.reader import open_reader
from ingest.store.schema import QUANTITIES, STORED, TABLES, RowPacker, rollup_sql
from ingest.store.writer import Writer
from tests.support.module_double import ModuleDouble
from tests.support.store_check import check_whole, stored

UTC = 1_700_000_000_000
SESSION = Session(link="test", opened_utc=UTC, seen_utc=UTC, closed_utc=None, reason="", counters={})


def hello(boot_id=1, module=7, tick=0):
    return Hello(
        module=module,
        boot_id=boot_id,
        revision=1,
        digest_low=1,
        digest_high=2,
        nonce_low=0,
        nonce_high=0,
        emulated=True,
        profile=1,
        firmware="test",
        oldest_seq=1,
        next_seq=1,
        tick=tick,
        module_utc=0,
        nominal_v=230,
        nominal_hz=50,
    )


def batch_of(module, boot, first, last, **more):
    records = {}
    for seq in range(first, last + 1):
        message_id, tick, payload = module.made[seq]
        records.setdefault(message_id, []).append((seq, tick, payload))
    return Batch(
        boot=boot, last_seq=last, last_tick=module.made[last][1], session=SESSION, records=records, **more
    )


def module_with(seconds):
    module = ModuleDouble(this_contract())
    for _ in range(seconds):
        module.second()
    return module


def dump(path):
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as connection:
        return [row for row in connection.iterdump() if 'INTO "migration"' not in row]


def test_every_reliable_message_has_a_table_with_its_fields():
    connection = sqlite3.connect(":memory:", isolation_level=None)
    migrations.migrate(connection, 0)
    for row in STORED:
        columns = [one[1] for one in connection.execute(f"PRAGMA table_info({row[1]})")]
        assert columns == ["id", "tick", *(field[0] for field in row[4]), *([row[5][0]] if row[5] else [])]


def test_every_value_of_every_message_is_stored_as_it_was_sent(tmp_path):
    """Every field at its lowest, highest and missing value, read back by plain SQL."""
    module = ModuleDouble(this_contract())
    expected = {}
    for row in STORED:
        bounds = messages.LAYOUTS[row[0]][3]
        for pick in (0, 1):
            inward = 1 if pick == 0 else -1
            values = [bound[pick] + (inward if bound[2] == bound[pick] else 0) for bound in bounds]
            tail = None if row[5] is None else b"ab" if row[5][1] == "B" else [1, 2]
            expected[module.put(row[0], values, tail)] = (row[1], values)
        seq = module.put(
            row[0], [None if bound[2] is not None else 0 for bound in bounds], None if row[5] is None else []
        )
        expected[seq] = (row[1], [None if bound[2] is not None else 0 for bound in bounds])
    writer = Writer(tmp_path / "s.db", UTC)
    cursor = writer.open_boot(hello(), UTC)
    writer.commit([batch_of(module, cursor.boot, 1, module.next_seq - 1)])
    for seq, (table, values) in expected.items():
        key = (cursor.boot << 32) | seq
        got = writer.connection.execute(f"SELECT * FROM {table} WHERE id = ?", (key,)).fetchone()
        fields = [field[0] for field in next(row for row in STORED if row[1] == table)[4]]
        for name, sent, kept in zip(fields, values, got[2:], strict=False):
            # Ticks are widened to lie near the record's own.
            assert kept == sent or (name.endswith("tick") and kept % 2**32 == sent), (table, name)
    writer.close()


def test_replay_of_batches_changes_nothing(tmp_path):
    module, path = module_with(200), tmp_path / "s.db"
    writer = Writer(path, UTC)
    boot = writer.open_boot(hello(), UTC).boot
    last = module.next_seq - 1
    batches = [batch_of(module, boot, first, min(first + 99, last)) for first in range(1, last + 1, 100)]
    for batch in batches:
        writer.commit([batch])
    before = dump(path)
    for batch in [*batches, *reversed(batches)]:
        writer.commit([batch])
    writer.commit([batch_of(module, boot, 50, last)])
    assert dump(path) == before
    writer.close()
    check_whole(path, module, last)


def test_a_failing_batch_leaves_nothing_of_itself(tmp_path):
    module, path = module_with(10), tmp_path / "s.db"
    writer = Writer(path, UTC)
    boot = writer.open_boot(hello(), UTC).boot
    writer.commit([batch_of(module, boot, 1, 20)])
    before = dump(path)
    bad = batch_of(
        module,
        boot,
        21,
        30,
        gaps=(Gap(first_seq=1, last_seq=2, from_tick=0, to_tick=0, count=1, kinds=0, reason=None),),
    )
    with pytest.raises(sqlite3.IntegrityError):
        writer.commit([bad])
    assert dump(path) == before
    writer.commit([batch_of(module, boot, 21, 40)])
    writer.close()
    check_whole(path, module, 40)


def test_roll_ups_are_what_the_rows_say(tmp_path):
    """Against a plain GROUP BY over the stored seconds, however the batches were cut."""
    module, path, luck = ModuleDouble(this_contract()), tmp_path / "s.db", random.Random(1)
    for _ in range(400):
        module.second()
        if luck.random() < 0.05:
            module.tick += luck.randrange(1000, 200_000, 1000)
    writer = Writer(path, UTC)
    boot = writer.open_boot(hello(), UTC).boot
    at = 1
    while at < module.next_seq:
        upto = min(at + luck.randrange(1, 90), module.next_seq - 1)
        writer.commit([batch_of(module, boot, at, upto)])
        at = upto + 1
    for level, width in (("minute", 60_000), ("hour", 3_600_000), ("day", 86_400_000)):
        select = ", ".join(
            f"min({low}), max({high}), sum({mean}), count({mean})" for low, high, mean in QUANTITIES.values()
        )
        plain = writer.connection.execute(
            f"SELECT (tick - 500) / {width}, count(*), {select} FROM trend GROUP BY 1 ORDER BY 1"
        ).fetchall()
        kept = writer.connection.execute(f"SELECT * FROM rollup_{level} ORDER BY id").fetchall()
        assert [(row[0] & 0xFFFFFFFF, *row[1:]) for row in kept] == plain
        assert len(rollup_sql(level)) > 100
    writer.close()


def test_a_hole_in_the_trends_ends_a_run_and_shows_as_unmonitored(tmp_path):
    module, path = module_with(30), tmp_path / "s.db"
    module.tick += 5000
    for _ in range(30):
        module.second()
    writer = Writer(path, UTC)
    boot = writer.open_boot(hello(), UTC).boot
    writer.commit([batch_of(module, boot, 1, module.next_seq - 1)])
    writer.close()
    with open_reader(path) as reader:
        span = reader.span(7)
        assert span == (UTC, UTC + 65_000)
        assert [(one.start - UTC, one.end - UTC) for one in reader.unmonitored(7, *span)] == [
            (30_000, 35_000)
        ]
        bands = reader.bands(7, *span, "mode")
        assert [(band.start - UTC, band.end - UTC, band.code) for band in bands] == [
            (0, 30_000, 1),
            (35_000, 65_000, 1),
        ]


def test_two_writers_on_one_store_are_refused_by_name(tmp_path):
    first = Writer(tmp_path / "s.db", UTC)
    with pytest.raises(UserError, match=f"pid {os.getpid()}"):
        Writer(tmp_path / "s.db", UTC)
    first.close()
    Writer(tmp_path / "s.db", UTC).close()


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda path: path.write_bytes(b"not a database" * 100), "not a readable store|not a store"),
        (lambda path: path.mkdir(), "is a folder"),
        (
            lambda path: sqlite3.connect(path).executescript("CREATE TABLE other (x);").close(),
            "another program",
        ),
        (lambda path: _newer(path), "newer version"),
    ],
)
def test_a_file_that_is_no_store_is_one_sentence(tmp_path, make, words):
    path = tmp_path / "s.db"
    make(path)
    with pytest.raises(UserError, match=words):
        Writer(path, UTC)
    with pytest.raises(UserError, match=words):
        open_reader(path)


def _newer(path):
    Writer(path, UTC).close()
    with sqlite3.connect(path) as connection:
        connection.execute(f"PRAGMA user_version = {len(migrations.MIGRATIONS) + 1}")
    connection.close()


def test_a_missing_folder_and_a_missing_store_are_one_sentence(tmp_path):
    with pytest.raises(UserError, match="doesn't exist; make it"):
        Writer(tmp_path / "no" / "s.db", UTC)
    with pytest.raises(UserError, match="doesn't exist; record"):
        open_reader(tmp_path / "none.db")


def test_a_full_disk_is_one_sentence_and_loses_nothing_acknowledged(tmp_path):
    """`max_page_count` makes the database itself report a full disk."""
    module, path = module_with(2000), tmp_path / "s.db"
    writer = Writer(path, UTC)
    boot = writer.open_boot(hello(), UTC).boot
    pages = writer.connection.execute("PRAGMA page_count").fetchone()[0]
    writer.connection.execute(f"PRAGMA max_page_count = {pages + 60}")
    done, said = 0, ""
    while not said and done < module.next_seq - 100:
        try:
            writer.commit([batch_of(module, boot, done + 1, done + 100)])
            done += 100
        except UserError as error:
            said = str(error)
    writer.close()
    assert "is full" in said
    assert 0 < done < module.next_seq - 1
    check_whole(path, module, done)
    assert max(stored(path)) == done
    assert examine(path).problem is None


def test_a_write_ahead_log_cut_or_flipped_anywhere_leaves_whole_batches(tmp_path):
    """What a power cut may leave of the log: every prefix of batches, never part of one."""
    module, path = module_with(60), tmp_path / "s.db"
    writer = Writer(path, UTC)
    writer.connection.execute("PRAGMA wal_autocheckpoint = 0")
    boot = writer.open_boot(hello(), UTC).boot
    ends = set()
    for first in range(1, module.next_seq, 17):
        last = min(first + 16, module.next_seq - 1)
        writer.commit([batch_of(module, boot, first, last)])
        ends.add(last)
    wal = path.with_name("s.db-wal").read_bytes()
    main = path.read_bytes()
    writer.close()
    luck = random.Random(2)
    for trial in range(60):
        copy = tmp_path / f"cut{trial}.db"
        copy.write_bytes(main)
        at = luck.randrange(len(wal))
        damaged = wal[:at] if trial % 2 else wal[:at] + bytes([wal[at] ^ 0xFF]) + wal[at + 1 :]
        copy.with_name(copy.name + "-wal").write_bytes(damaged)
        try:
            again = Writer(copy, UTC)
        except UserError:
            # The log's first frames hold the very tables: without them the file is no store yet.
            continue
        cursor = again.open_boot(hello(), UTC)
        again.close()
        assert cursor.last_seq == 0 or cursor.last_seq in ends
        check_whole(copy, module, cursor.last_seq)
        assert examine(copy).problem is None
        assert max(stored(copy), default=0) == cursor.last_seq
        copy.unlink()


OLD = sorted(

        os.path.join(os.path.dirname(__file__), "old", name)
        for name in os.listdir(os.path.join(os.path.dirname(__file__), "old"))
        if name.endswith(".sql")

)


@pytest.mark.parametrize("script", OLD, ids=os.path.basename)
def test_an_old_store_comes_up_to_date_and_reads(tmp_path, script):
    path = tmp_path / "old.db"
    with sqlite3.connect(path) as connection, open(script, encoding="utf-8") as text:
        connection.executescript(text.read())
    connection.close()
    writer = Writer(path, UTC)
    assert migrations.version(writer.connection) == len(migrations.MIGRATIONS)
    assert migrations.migrate(writer.connection, UTC) == []
    writer.close()
    with open_reader(path) as reader:
        (module,) = reader.modules()
        start, end = reader.span(module.id)
        assert len(reader.trends(module.id, start, end).t) == 8
        assert len(reader.breaths(module.id, start, end + 1)) == 2


def test_a_migration_that_fails_leaves_the_old_shape(tmp_path, monkeypatch):
    path = tmp_path / "s.db"
    Writer(path, UTC).close()
    monkeypatch.setattr(
        migrations,
        "MIGRATIONS",
        (
            *migrations.MIGRATIONS,
            ("broken", "CREATE TABLE extra (x INTEGER) STRICT;\nCREATE TABLE module (y);\n"),
        ),
    )
    with pytest.raises(sqlite3.OperationalError):
        Writer(path, UTC)
    with sqlite3.connect(path) as connection:
        assert migrations.version(connection) == len(migrations.MIGRATIONS) - 1
        assert (
            connection.execute("SELECT count(*) FROM sqlite_master WHERE name = 'extra'").fetchone()[0] == 0
        )
    connection.close()


def test_inline_writes_the_same_store_as_the_daemons_way(tmp_path):
    contents = []
    for commit_ms in (1000, 60_000):
        module, path = ModuleDouble(this_contract()), tmp_path / f"{commit_ms}.db"
        inline = Inline(path, UTC, commit_ms=commit_ms)
        for second in range(1, 181):
            module.second()
            module.receive(inline.feed(module.send(), second * 1000, UTC + second * 1000))
        module.receive(inline.close())
        assert module.acked == module.next_seq - 1
        check_whole(path, module, module.acked)
        heads = tuple(
            f'INSERT INTO "{table}"' for table in [*TABLES.values(), "run", "band", "rollup_minute"]
        )
        contents.append([row for row in dump(path) if row.startswith(heads)])
    assert contents[0] == contents[1]


def test_a_reader_sees_whole_batches_while_the_writer_writes(tmp_path):
    module, path = module_with(100), tmp_path / "s.db"
    writer = Writer(path, UTC)
    boot = writer.open_boot(hello(), UTC).boot
    with open_reader(path) as reader:
        for first in range(1, 401, 40):
            writer.commit([batch_of(module, boot, first, first + 39)])
            (seen,) = reader.boots(7)
            assert seen.last_seq == first + 39
    writer.close()


def test_packer_and_codec_agree():
    """The fast packer gives what the contract's own decoder gives."""
    luck = random.Random(3)
    for row in STORED:
        packer = RowPacker(row[0])
        for _ in range(20):
            payload = luck.randbytes(messages.LAYOUTS[row[0]][2]) + (luck.randbytes(8) if row[5] else b"")
            values, _ = messages.decode(row[0], payload)
            (got,) = packer.rows(1, [(1, 2**32 + 5, payload)])
            names = [field[0] for field in row[4]]
            for name, plain, packed in zip(names, values, got[2 : 2 + len(values)], strict=True):
                assert packed == plain or (name.endswith("tick") and packed % 2**32 == plain)


def test_a_process_killed_inside_a_commit_leaves_the_lock_free(tmp_path):
    script = (
        "import sys; from ingest.store.writer import Writer; w = Writer(sys.argv[1], 0); "
        "w.connection.execute('BEGIN IMMEDIATE'); print('held', flush=True); import time; time.sleep(60)"
    )
    process = subprocess.Popen([sys.executable, "-c", script, str(tmp_path / "s.db")], stdout=subprocess.PIPE)
    assert process.stdout.readline() == b"held\n"
    process.kill()
    process.communicate()
    Writer(tmp_path / "s.db", UTC).close()


def test_the_host_hands_on_only_what_is_committed(tmp_path, monkeypatch):
    """An acknowledgement never leaves before its commit returned."""
    module = ModuleDouble(this_contract())
    inline = Inline(tmp_path / "s.db", UTC, commit_ms=0)
    real, order = inline.writer.commit, []
    monkeypatch.setattr(
        inline.writer, "commit", lambda batches: (real(batches), order.append(batches[-1].last_seq))
    )
    for second in range(1, 30):
        module.second()
        module.receive(inline.feed(module.send(), second * 1000, UTC + second * 1000))
        assert module.acked <= (order[-1] if order else 0)
    inline.close()
    order = [last for last in order if last]
    assert order == sorted(order)
    assert order[-1] == module.next_seq - 1


def test_a_reader_brings_an_old_store_up_to_date_unless_it_is_being_written(tmp_path):
    path = tmp_path / "old.db"
    with sqlite3.connect(path) as connection, open(OLD[0], encoding="utf-8") as text:
        connection.executescript(text.read())
    connection.close()
    with WriterLock(path), pytest.raises(UserError, match="written by another process"):
        open_reader(path)
    with open_reader(path) as reader:
        assert migrations.version(reader.base.connection) == len(migrations.MIGRATIONS)


def test_the_lock_is_waited_for_a_moment(tmp_path):
    first = WriterLock(tmp_path / "s.db")
    release = threading.Timer(0.15, first.close)
    release.start()
    WriterLock(tmp_path / "s.db").close()
    release.join()


def test_a_folder_that_may_not_be_written_is_one_sentence(tmp_path, monkeypatch):
    """Root may write anywhere, so the refusal itself is played."""
    def refuse(*arguments, **options):
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(UserError, match="check owner, mode and mount"):
        WriterLock(tmp_path / "s.db")


def test_a_commit_is_on_the_disk_before_it_counts(tmp_path):
    """SQLite's own words: 2 is FULL, which syncs the log at every commit."""
    writer = Writer(tmp_path / "s.db", UTC)
    assert writer.connection.execute("PRAGMA synchronous").fetchone() == (2,)
    assert writer.connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    writer.close()
