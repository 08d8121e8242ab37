"""Backup, verify, prune, merge, Parquet: what is kept is compared row by row with what was recorded."""

import random
import sqlite3
from contextlib import closing

import duckdb
import pytest

from firmware_sim.contract import messages
from ingest.errors import UserError
from ingest.inline import Inline
from ingest.pipeline import this_contract
from ingest.sinks.parquet import write_parquet
from ingest.store.annotations import open_annotations
from ingest.store.backup import backup
from ingest.store.merge import merge
from ingest.store.outbox import Place, save_place
from ingest.store.reader import open_reader
from ingest.store.retention import PRUNED, prune
from ingest.store.schema import TABLES
from ingest.store.verify import verify
from tests.support.module_double import ModuleDouble
from tests.support.store_check import check_whole, stored

UTC = 1_700_000_000_000
DERIVED = ("run", "band", "rollup_minute", "rollup_hour", "rollup_day")


def record(path, seconds, module=None, start=0, lose=(), site="clinic"):
    """Record some seconds of a module into a store; `lose` are sequences its ring overwrites."""
    module = module or ModuleDouble(this_contract(), module=0xAB)
    inline = Inline(path, UTC + start * 1000, site=site, bed="3")
    for second in range(start + 1, start + seconds + 1):
        module.second()
        module.lose(*lose)
        module.receive(inline.feed(module.send(), (second - start) * 1000, UTC + second * 1000))
    module.receive(inline.close())
    return module


def rows(path, tables=(*TABLES.values(), *DERIVED)):
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
        return {
            table: sorted(connection.execute(f"SELECT * FROM {table}").fetchall(), key=repr)
            for table in tables
        }


def change(path, *statements):
    with closing(sqlite3.connect(path)) as connection, connection:
        for statement in statements:
            connection.execute(statement)


def test_a_sound_store_has_no_fault_and_its_gaps_are_counted(tmp_path):
    record(tmp_path / "s.db", 100, lose=(30, 31, 32, 200))
    report = verify(tmp_path / "s.db")
    assert report.problems == ()
    assert (report.modules, report.boots, report.gaps) == (1, 1, 2)
    # The record `lost` stands at the end of its own gap.
    assert report.missing == 4 - 2


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        ("DELETE FROM trend WHERE id & 4294967295 = 1", "missing without a gap, the first is 1"),
        ("DELETE FROM breath", "missing without a gap"),
        ("UPDATE boot SET last_seq = last_seq - 5", "beyond the cursor"),
        ("INSERT INTO pressure_wave SELECT id, tick, x'00' FROM trend LIMIT 1", "stand in two tables"),
        ("UPDATE rollup_hour SET pressure_sum = pressure_sum + 1", "don't add up"),
        ("UPDATE trend SET pressure_mean = 1 WHERE id = (SELECT min(id) FROM trend)", "are in the roll-ups"),
        ("INSERT INTO gap VALUES (99, 1, 2, 0, 0, 1, 0, 'x')", "isn't there"),
    ],
)
def test_each_fault_is_found_and_named(tmp_path, damage, words):
    record(tmp_path / "s.db", 60)
    assert verify(tmp_path / "s.db").problems == ()
    change(tmp_path / "s.db", damage)
    assert any(words in problem for problem in verify(tmp_path / "s.db").problems)


def test_a_backup_of_a_store_in_use_is_whole(tmp_path):
    path, module = tmp_path / "s.db", ModuleDouble(this_contract())
    inline = Inline(path, UTC, commit_ms=0)
    for second in range(1, 61):
        module.second()
        module.receive(inline.feed(module.send(), second * 1000, UTC + second * 1000))
    report = backup(path, tmp_path / "copy.db")
    inline.close()
    assert report.problems == ()
    check_whole(tmp_path / "copy.db", module, max(stored(tmp_path / "copy.db")))
    assert not list(tmp_path.glob("*.unfinished"))
    with pytest.raises(UserError, match="there already"):
        backup(path, tmp_path / "copy.db")


def test_a_backup_of_an_unsound_store_is_removed(tmp_path):
    record(tmp_path / "s.db", 60)
    change(tmp_path / "s.db", "DELETE FROM breath")
    with pytest.raises(UserError, match="not sound"):
        backup(tmp_path / "s.db", tmp_path / "copy.db")
    assert sorted(path.name for path in tmp_path.glob("copy*")) == []


def test_pruning_spares_what_was_not_forwarded_and_keeps_events_and_roll_ups(tmp_path):
    path = tmp_path / "s.db"
    module = record(path, 200)
    before = rows(path)
    cut = UTC + 100_500
    # Without any sink nothing was taken.
    assert prune(path, cut, UTC, even_unsent=False).removed == 0
    save_place(
        path,
        "one",
        Place(module=0xAB, boot=1, seq=module.next_seq - 1, live_from=0, live_seq=0, rejected=0, newest=0),
    )
    save_place(path, "two", Place(module=0xAB, boot=1, seq=50, live_from=0, live_seq=0, rejected=0, newest=0))
    done = prune(path, cut, UTC, even_unsent=False)
    assert done.removed == 50
    assert done.spared > 300
    assert prune(path, cut, UTC, even_unsent=True).removed == done.spared
    after = rows(path)
    for table in (*DERIVED, *(one for one in TABLES.values() if one not in PRUNED)):
        assert after[table] == before[table]
    assert [row[1] for row in after["trend"]] == [tick * 1000 for tick in range(101, 201)]
    assert verify(path).problems == ()
    # The module goes on; what was pruned doesn't come back.
    record(path, 5, module=module, start=200)
    assert verify(path).problems == ()
    with open_reader(path) as reader:
        assert reader.trends(0xAB, UTC, UTC + 3_600_000 * 12, ["pressure"], 50).count.sum() == 205


@pytest.mark.parametrize("swap", [False, True])
def test_two_halves_of_one_night_merge_to_the_whole(tmp_path, swap):
    whole, first, second = tmp_path / "whole.db", tmp_path / "a.db", tmp_path / "b.db"
    module = record(whole, 300, lose=(100, 101))
    for path in (first, second):
        with closing(sqlite3.connect(whole)) as source, closing(sqlite3.connect(path)) as target:
            source.backup(target)
    tables = TABLES.values()
    change(
        first,
        *(f"DELETE FROM {table} WHERE id & 4294967295 > 800" for table in (*tables, "band")),
        "UPDATE boot SET last_seq = 800, last_tick = 188000",
        "DELETE FROM run",
        "DELETE FROM rollup_minute",
        "DELETE FROM rollup_hour",
        "DELETE FROM rollup_day",
    )
    change(
        second,
        *(f"DELETE FROM {table} WHERE id & 4294967295 <= 500" for table in (*tables, "band")),
        "DELETE FROM gap",
        "INSERT INTO gap VALUES (1, 1, 500, 0, 118000, 500, 0, 'acknowledged to another host')",
    )
    into = tmp_path / "into.db"
    for source in (second, first) if swap else (first, second):
        merge(into, source, UTC)
    assert rows(into, TABLES.values()) == rows(whole, TABLES.values())
    assert rows(into, DERIVED[2:] + ("run",)) == rows(whole, DERIVED[2:] + ("run",))
    assert verify(into).problems == ()
    before = rows(into)
    again = merge(into, first, UTC)
    assert again.records == 0
    assert rows(into) == before
    assert module.next_seq > 1000


def test_stores_of_two_modules_merge_side_by_side_with_their_marks(tmp_path):
    one, two, into = tmp_path / "1.db", tmp_path / "2.db", tmp_path / "into.db"
    record(one, 60)
    record(two, 80, module=ModuleDouble(this_contract(), module=0xCD), site="hill")
    for path, module in ((one, 0xAB), (two, 0xCD)):
        with open_annotations(path, UTC) as marks:
            number = marks.add(
                module=module, utc=UTC + 5000, kind="note", author="A.B.", text=f"{module}", now=UTC
            )
            marks.change(number, author="C.D.", text=f"{module} again", now=UTC + 1)
    for _ in range(2):
        for path in (one, two):
            merge(into, path, UTC)
    assert verify(into).problems == ()
    with open_reader(into) as reader:
        assert {module.id: module.site for module in reader.modules()} == {0xAB: "clinic", 0xCD: "hill"}
        assert [mark.text for mark in reader.marks()] == [f"{0xAB} again", f"{0xCD} again"]
        assert [mark.version for mark in reader.mark_history(reader.marks(0xCD)[0].mark)] == [1, 2]
        for module, path in ((0xAB, one), (0xCD, two)):
            with open_reader(path) as alone:
                start, end = alone.span(module)
                assert reader.span(module) == (start, end)
                assert list(reader.wave(module, start, end).value) == list(
                    alone.wave(module, start, end).value
                )


def test_parquet_holds_every_value_and_says_simulated(tmp_path):
    """Read back by DuckDB, an independent reader."""
    path, out = tmp_path / "s.db", tmp_path / "out"
    record(path, 120, site="../clinic of the hill")
    with open_reader(path) as reader:
        written = write_parquet(reader, out)
        trends = reader.records(messages.TREND, 0xAB, UTC, UTC + 10**7)
    assert written == 120 + 30
    assert all(out in found.resolve().parents for found in out.rglob("*.parquet"))
    query = duckdb.sql(
        f"SELECT epoch_ms(utc), in_rms, out_frequency, simulated, site, day, module FROM "
        f"read_parquet('{out}/trend/**/*.parquet', hive_partitioning = true) ORDER BY utc"
    )
    found = query.fetchall()
    assert [row[0] for row in found] == list(trends.t)
    assert [row[1] for row in found] == list(trends["in_rms"])
    assert {row[2] for row in found} == {None}
    assert {row[3] for row in found} == {True}
    assert {row[6] for row in found} == {"000000ab"}


def test_any_cut_of_one_night_into_many_stores_merges_back(tmp_path):
    luck = random.Random(9)
    whole = tmp_path / "whole.db"
    record(whole, 90)
    total = max(stored(whole))
    pieces = []
    for number in range(4):
        piece = tmp_path / f"piece{number}.db"
        with closing(sqlite3.connect(whole)) as source, closing(sqlite3.connect(piece)) as target:
            source.backup(target)
        low = 1 if number == 0 else luck.randrange(1, total)
        high = total if number == 1 else luck.randrange(low, total + 1)
        change(
            piece,
            *(
                f"DELETE FROM {table} WHERE id & 4294967295 NOT BETWEEN {low} AND {high}"
                for table in (*TABLES.values(), "band")
            ),
            f"UPDATE boot SET last_seq = {high}",
        )
        pieces.append((low, high, piece))
    into = tmp_path / "into.db"
    luck.shuffle(pieces)
    for _, _, piece in pieces:
        merge(into, piece, UTC)
    have = {seq for low, high, _ in pieces for seq in range(low, high + 1)}
    assert set(stored(into)) == have
