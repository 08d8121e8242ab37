"""A person's gauge reading reaches the module as a logged command; the module counts down and alarms.

340 L at 2 + 6 L/min last 42 min (worked out; the drive gas of the bellows is a term).
"""

import pytest

from firmware_sim.contract import NONE, alarms, commands, log_codes
from ingest.analysis.reserves.entries import KIND, cylinder_entry, entered, flow_entry
from ingest.analysis.reserves.standing import standing
from ingest.reserve_feed import told
from ingest.store.annotations import Annotations
from ingest.store.reader import open_reader
from tests.support.bed import scenario
from tests.support.live_bed import LiveBed

MINUTE_MS = 60_000
FLOWS = {"oxygen": "2", "minute_volume": "6", "bleed": "0"}


def gauge(bar):
    """Return a reading of a 2.32 L cylinder."""
    return cylinder_entry(size="", water_l="2.32", gauge=str(bar), unit="bar")


class Mark:
    def __init__(self, utc, data):
        self.utc, self.data = utc, data


@pytest.fixture(scope="module")
def bed(tmp_path_factory):
    bed = LiveBed(scenario(), tmp_path_factory.mktemp("feed") / "bed.db")
    bed.play(8)
    yield bed
    bed.close()


def settle(bed, seconds=4):
    """Let time pass as the daemon's loop does."""
    for _ in range(seconds):
        bed.play(1)
        bed.requests.elapsed()


def sent(bed):
    """Return what the book of commands says of this command: reason, operator, result."""
    with open_reader(bed.path) as reader:
        return [(one.reason, one.operator, one.result) for one in reader.host_commands(bed.module)
                if one.command == commands.CYLINDER]


def minutes(bed):
    return bed.rig.runtime.app.system.cylinder.minutes


def test_an_entry_is_told_once_and_the_module_holds_what_the_page_shows(bed):
    write = bed.note(KIND, author="C.D.")
    write(bed.now, gauge(100), "100 bar")
    settle(bed)
    assert sent(bed) == [] and minutes(bed) == NONE, "without the flows nothing can be said"
    write(bed.now, flow_entry(**FLOWS), "2 + 6")
    settle(bed)
    ((reason, operator, result),) = sent(bed)
    assert (operator, result) == ("C.D.", commands.DONE) and reason.startswith("reserve entry ")
    with open_reader(bed.path) as reader:
        shown = standing(reader, bed.module, bed.now).cylinder.minutes_low
    assert minutes(bed) == pytest.approx(shown, abs=1)
    entries = bed.rig.runtime.app.system.log.newest(log_codes.CYLINDER)
    assert entries.second & 0xFFFF == 800
    settle(bed, 30)
    assert len(sent(bed)) == 1


def test_a_gauge_that_fell_is_counted_down_without_the_host_and_alarms(bed):
    """From 100 to 70 bar within 5 min is more than the flows told: the faster rate counts."""
    write = bed.note(KIND)
    write(bed.now, gauge(100), "")
    bed.play(300)
    write(bed.now, gauge(70), "")
    settle(bed)
    assert len(sent(bed)) == 3 and sent(bed)[-1][2] == commands.DONE
    before = minutes(bed)
    bed.rig.board.unplug()
    # Nobody listens: the module goes on by itself.
    bed.rig.run(180 * 10)
    assert minutes(bed) == pytest.approx(before - 3, abs=1)
    bed.rig.board.plugged = True
    while minutes(bed) >= 29:
        bed.play(60)
    bed.play(5)
    with open_reader(bed.path) as reader:
        start, end = reader.span(bed.module)
        rows = [one.row for one in reader.alarms(bed.module, start, end)]
    assert alarms.ID_OF["cylinder_short"] in rows
    assert bed.rig.runtime.app.system.engine.stands(alarms.ID_OF["cylinder_short"])


def test_entries_that_are_taken_back_are_forgotten_by_the_module(bed):
    bed.clear()
    settle(bed)
    assert minutes(bed) == NONE
    assert sent(bed)[-1][2] == commands.DONE


def test_what_was_entered_while_no_daemon_ran_is_told_later(bed):
    marks = Annotations(bed.inline.host.writer)
    for data in (gauge(100), flow_entry(**FLOWS)):
        marks.add(module=bed.module, utc=bed.now, kind=KIND, author="E.F.", text="", now=bed.now, data=data)
    count = len(sent(bed))
    # A daemon that starts knows of no module yet.
    bed.requests._reserves._settled.clear()
    settle(bed)
    assert len(sent(bed)) == count + 1
    assert sent(bed)[-1][1:] == ("E.F.", commands.DONE)


def test_what_was_drawn_since_the_gauge_was_read_is_taken_off():
    at = 1_000_000_000_000
    marks = [Mark(at, gauge(140)), Mark(at + 1, flow_entry(**FLOWS)), Mark(at + 10 * MINUTE_MS, gauge(90))]
    found = entered(marks)
    now = told(found, at + 10 * MINUTE_MS, in_use=False)
    later = told(found, at + 15 * MINUTE_MS, in_use=False)
    assert now[2] == later[2] == 1 and now[1] == later[1] > 800
    assert now[0] - later[0] == pytest.approx(now[1] / 100 * 5, abs=1)
    seen = told(found, at + 15 * MINUTE_MS, in_use=True)
    assert seen[0] == pytest.approx(later[0], abs=1), "taken off once, not twice"


def test_a_resting_cylinder_is_told_as_it_was_read():
    at = 1_000_000_000_000
    marks = [Mark(at, gauge(140)), Mark(at + 1, flow_entry(**FLOWS)), Mark(at + 60 * MINUTE_MS, gauge(140))]
    found = entered(marks)
    assert told(found, at + 600 * MINUTE_MS, in_use=False) == told(found, at + 60 * MINUTE_MS, in_use=False)
    assert told(found, at + 60 * MINUTE_MS, in_use=False)[1:] == (800, 0)
