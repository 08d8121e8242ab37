"""Minutes put together by the clock, against the reader's own minutes put together again by numpy."""

import random
import sqlite3

import numpy as np
import pytest

from firmware_sim.contract import messages
from ingest.store.reader import open_reader
from tests.support.night_store import MODULE, Night

UTC = 1_700_000_000_000
TEN_MIN_MS, MINUTE_MS = 600_000, 60_000
NAMES = ("supply_in", "frequency_in", "frequency_out")
FIRST_MIN, SECOND_MIN = 3000, 90


def write(night, minutes, draw):
    """Record a second in each minute of a boot: every seventh without volts, 25 on end without frequency."""
    for minute in range(minutes):
        volts = None if minute % 7 == 3 else draw.randrange(18_000, 26_000)
        near = (None, None) if volts is None else (volts - draw.randrange(300), volts + draw.randrange(300))
        hertz = None if 20 <= minute < 45 else draw.randrange(48_000, 52_000)
        night.put(messages.TREND, MINUTE_MS * minute + 1000, (
            volts, *near, None, None, None, hertz, None, 0, 0, 0, None, None, None, *[0] * 7, *[None] * 4,
        ))  # fmt: skip
    night.commit()


@pytest.fixture(params=[0, 60_000, -90_000], ids=["true clock", "clock behind", "clock ahead"])
def bed(tmp_path, request):
    """Give a store of two boots, and the interval in which the first ends and the second begins."""
    draw, rate = random.Random(11), request.param
    night = Night(tmp_path / "s.db", UTC)
    write(night, FIRST_MIN, draw)
    last = MINUTE_MS * FIRST_MIN - MINUTE_MS // 2
    shared = (UTC + last + last * rate // 10**9) // TEN_MIN_MS
    night.open_boot(2, shared * TEN_MIN_MS + 5 * MINUTE_MS)
    write(night, SECOND_MIN, draw)
    night.close()
    with sqlite3.connect(tmp_path / "s.db") as connection:
        connection.execute("UPDATE boot SET rate_ppb = ?", (rate,))
    connection.close()
    with open_reader(tmp_path / "s.db") as reader:
        yield reader, shared


def regrouped(reader, start, end):
    """Return the intervals, and for each quantity its least, greatest, mean and mean square in each."""
    found = reader.trends(MODULE, start, end, NAMES, pixels=-(-(end - start) // MINUTE_MS))
    assert found.width_ms == MINUTE_MS
    index = np.unique(found.t // TEN_MIN_MS)
    rows = {name: np.full((4, len(index)), np.nan) for name in NAMES}
    for place, one in enumerate(index):
        here = found.t // TEN_MIN_MS == one
        for name in NAMES:
            mean = found.mean[name][here]
            mean = mean[~np.isnan(mean)]
            if len(mean):
                least, greatest = found.minimum[name][here], found.maximum[name][here]
                square = np.mean(mean**2)
                rows[name][:, place] = np.nanmin(least), np.nanmax(greatest), np.mean(mean), square
    return index, rows


def same(reader, start, end):
    """Compare, and return what was found."""
    found = reader.by_clock(MODULE, start, end, NAMES, TEN_MIN_MS)
    index, rows = regrouped(reader, start, end)
    assert found.index.tolist() == index.tolist()
    for name in NAMES:
        ours = (found.minimum[name], found.maximum[name], found.mean[name], found.mean_square[name])
        for value, other in zip(ours, rows[name], strict=True):
            np.testing.assert_allclose(value, other, rtol=1e-12)
    return found


def test_the_minutes_of_all_boots_are_put_together_by_the_clock(bed):
    reader, shared = bed
    start, end = reader.span(MODULE)
    found = same(reader, start, end)
    # Nothing lies between the boots, and they share an interval.
    assert np.all(np.diff(found.index) == 1)
    assert len(found.index) in (308, 309, 310)
    assert shared in found.index[:-8].tolist()
    assert np.isnan(found.mean["frequency_out"]).all()
    assert 1 <= np.isnan(found.mean["frequency_in"]).sum() <= 6
    assert not np.isnan(found.mean["supply_in"]).any()


def test_a_minute_has_the_time_that_its_boot_gives_it(bed):
    """Intervals of a millisecond tell the times themselves."""
    reader, _ = bed
    start, end = reader.span(MODULE)
    minutes = reader.trends(MODULE, start, end, NAMES, pixels=-(-(end - start) // MINUTE_MS))
    assert reader.by_clock(MODULE, start, end, NAMES, 1).index.tolist() == sorted(minutes.t.tolist())


def test_a_window_takes_the_minutes_that_it_touches(bed):
    reader, shared = bed
    begin, end = reader.span(MODULE)
    for start, stop in (
        (begin + 5_000_000, end - 1_234_567),
        (shared * TEN_MIN_MS + 1, (shared + 1) * TEN_MIN_MS - 1),
        (begin - 10**9, begin + 90_000),
    ):
        same(reader, start, stop)


def test_a_window_without_minutes_gives_no_interval(bed):
    reader, _ = bed
    for start in (UTC - 10**9, UTC + 10**10):
        found = same(reader, start, start + TEN_MIN_MS)
        assert len(found.index) == len(found.mean["supply_in"]) == 0


def test_an_unknown_quantity_is_our_own_mistake(bed):
    reader, _ = bed
    with pytest.raises(KeyError):
        reader.by_clock(MODULE, 0, 1, ["inspired_oxygen"], TEN_MIN_MS)
