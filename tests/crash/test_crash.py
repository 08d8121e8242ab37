"""Real processes: killed, their log damaged, clocks set, the module reset; compared with the board's record.

The store's own tests cover a full disk and folders that may not be written, those of the daemon two daemons,
unplugging, garbage, and memory over minutes.
"""

import os
import random
import shutil
import sqlite3
import time
from contextlib import closing

import pytest

from ingest.errors import UserError
from ingest.store.verify import verify
from ingest.store.writer import Writer
from tests.support.crash_bed import check_measured, wait_for

FAKETIME = "/usr/lib/x86_64-linux-gnu/faketime/libfaketime.so.1"


def kill_many(bed, kills, chance):
    """Kill the daemon at random moments while the board streams; return the records compared in the end."""
    for number in range(kills):
        daemon = bed.ingest("--commit-ms", 100)
        if number == 0:
            # The daemon was there first; the other ones come while the night goes on.
            wait_for(bed.store.exists, "the store")
            bed.board()
        bed.reach(1)
        time.sleep(chance.uniform(0, 0.3))
        daemon.kill()
        daemon.wait()
    daemon = bed.ingest()
    bed.reach(50)
    status, said = bed.end(daemon)
    assert status == 0, said
    report = verify(bed.store)
    assert report.problems == () and report.gaps == 0 and report.missing == 0
    return check_measured(bed.store)


def test_killed_twenty_times_nothing_is_missing_and_nothing_twice(bed):
    assert kill_many(bed, 20, random.Random(11)) > 500


@pytest.mark.soak
def test_killed_two_hundred_times_nothing_is_missing_and_nothing_twice(bed):
    assert kill_many(bed, 200, random.Random(12)) > 5000


def damage_log(bed, offsets, chance):
    """Cut or flip the log that a killed daemon left, at many places; each time the store must be whole."""
    bed.board(speed=40)
    daemon = bed.ingest("--commit-ms", 100)
    for _ in range(12):
        bed.reach(1)
    daemon.kill()
    daemon.wait()
    log = bed.store.with_name(bed.store.name + "-wal").read_bytes()
    assert len(log) > 100_000
    cursors = set()
    for trial in range(offsets):
        at = chance.randrange(len(log))
        copy = bed.folder / "copy.db"
        shutil.copy(bed.store, copy)
        harmed = log[:at] if trial % 2 else log[:at] + bytes([log[at] ^ 0x5A]) + log[at + 1 :]
        copy.with_name(copy.name + "-wal").write_bytes(harmed)
        try:
            Writer(copy, 0).close()
        except UserError:
            # Before the tables were folded into the file, the log's first pages hold them.
            continue
        report = verify(copy)
        assert report.problems == (), at
        cursors.add(report.records)
        for name in bed.folder.glob("copy.db*"):
            name.unlink()
    return cursors


def test_a_log_cut_or_flipped_leaves_whole_batches(bed):
    assert len(damage_log(bed, 30, random.Random(13))) > 3


@pytest.mark.soak
def test_a_log_cut_or_flipped_at_three_hundred_places_leaves_whole_batches(bed):
    assert len(damage_log(bed, 300, random.Random(14))) > 8


@pytest.mark.soak  # a date is looked at once a minute
@pytest.mark.skipif(not os.path.exists(FAKETIME), reason="libfaketime is not installed")
def test_a_date_set_back_a_year_and_forward_a_day_moves_labels_and_no_record(bed):
    """The wall clock of the daemon alone is set; the machine's own stays."""
    date = bed.folder / "date"
    date.write_text("+0")
    # At real speed: a faster board would itself look like a date that is being set.
    bed.board(speed=1)
    daemon = bed.ingest("--commit-ms", 200, environment={
        "LD_PRELOAD": FAKETIME, "FAKETIME_TIMESTAMP_FILE": str(date), "FAKETIME_NO_CACHE": "1",
        "FAKETIME_DONT_FAKE_MONOTONIC": "1"})
    bed.reach(10)
    for jump in ("-365d", "+1d"):
        date.write_text(jump)
        steps = steps_of(bed.store)
        wait_for(lambda seen=steps: steps_of(bed.store) > seen, f"the step by {jump}", 150)
    status, said = bed.end(daemon)
    assert status == 0, said
    report = verify(bed.store)
    assert report.problems == () and report.gaps == 0
    check_measured(bed.store)


def steps_of(store):
    """Return how many steps of the host's clock are in the store."""
    with closing(sqlite3.connect(f"file:{store}?mode=ro", uri=True)) as connection:
        return connection.execute("SELECT count(*) FROM clock WHERE step").fetchone()[0]


def test_a_module_that_resets_goes_on_as_another_boot(bed):
    # It resets half an hour into its night.
    bed.board("--scenario", "reset-mid-case", "--from", 30 * 60 - 400)
    daemon = bed.ingest()
    wait_for(lambda: bed.cursors().get(2, 0) > 50, "the boot after the reset")
    status, said = bed.end(daemon)
    assert status == 0, said
    report = verify(bed.store)
    assert (report.boots, report.gaps, report.problems) == (2, 0, ())


def taken(process):
    """Return (kB of memory, open files) of a process."""
    with open(f"/proc/{process.pid}/status", encoding="ascii") as status:
        kilobytes = next(int(line.split()[1]) for line in status if line.startswith("VmRSS"))
    return kilobytes, len(os.listdir(f"/proc/{process.pid}/fd"))


@pytest.mark.soak
def test_eight_hours_in_minutes_leave_memory_and_open_files_flat(bed):
    """The board runs as fast as the machine lets it; after the first hour nothing grows any more."""
    bed.board("--hours", 8, speed=400)
    daemon = bed.ingest()
    hour = 3600 * 4
    wait_for(lambda: bed.cursors().get(1, 0) > hour, "the first hour", 300)
    before = taken(daemon)
    wait_for(lambda: bed.cursors().get(1, 0) > 7 * hour, "the eighth hour", 1800)
    after = taken(daemon)
    print(f"memory {before[0]} kB after an hour, {after[0]} kB in the eighth; files {before[1]}, {after[1]}")
    assert after[1] == before[1]
    assert after[0] < before[0] * 1.1 + 4000
    assert bed.end(daemon)[0] == 0
    assert verify(bed.store).problems == ()
