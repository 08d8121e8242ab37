"""Frames against plain loops over the same store, and against what the story put there."""

import numpy as np
import pytest

from dashboard.queries import choose_module, night_frame, nights, now_frame, reading, wave_since
from tests.dashboard.conftest import HOURS, START
from tests.support.night_store import APART, BYPASS, DARK, IMPURE, MODULE, OUTAGE, write_night

END = START + HOURS * 3_600_000


def minute(m):
    return START + round(m * 60_000)


@pytest.fixture(scope="module")
def frame(store):
    with reading(store) as reader:
        yield night_frame(reader, choose_module(reader, None), START, END, 400)


def test_reduction_keeps_every_extreme(frame, store):
    with reading(store) as reader:
        seconds = reader.trends(MODULE, START, END, ["supply_in", "oxygen"])
        peaks = reader.breaths(MODULE, START, END)["peak"]
    assert len(frame.t) <= 400
    assert np.nanmin(frame.supply_in.low) == np.nanmin(seconds.minimum["supply_in"])
    assert np.nanmax(frame.supply_in.high) == np.nanmax(seconds.maximum["supply_in"])
    assert np.nanmin(frame.oxygen.low) == np.nanmin(seconds.minimum["oxygen"])
    assert frame.breaths.peak.high.max() == peaks.max()
    assert frame.breaths.peak.low.min() == peaks.min()


def test_breath_bins_agree_with_a_plain_loop(frame, store):
    width = -(-(END - START) // 400)
    with reading(store) as reader:
        rows = reader.breaths(MODULE, START, END)
    bins = {}
    for t, peak in zip(rows.t.tolist(), rows["peak"].tolist(), strict=True):
        bins.setdefault((t - START) // width, []).append(peak)
    expected = [(min(one), sum(one) / len(one), max(one)) for _, one in sorted(bins.items())]
    found = zip(frame.breaths.peak.low, frame.breaths.peak.mean, frame.breaths.peak.high, strict=True)
    assert np.allclose(list(found), expected)


def test_a_lone_breath_stands_where_it_ended(store):
    with reading(store) as reader:
        module = choose_module(reader, None)
        rows = reader.breaths(MODULE, minute(10), minute(11))
        near = night_frame(reader, module, minute(10), minute(11), 1000)
    assert near.breaths.t.tolist() == rows.t.tolist()
    assert len(rows) == 12


def test_the_story_is_found(frame):
    named = {one.name: (one.start, one.end) for one in frame.states}
    assert [round((edge - START) / 60_000) for edge in named["stored_energy"]] == list(OUTAGE)
    assert [round((edge - START) / 60_000) for edge in named["bypass"]] == list(BYPASS)
    assert [(one.start, one.end) for one in frame.dark] == [(minute(DARK[0]), minute(DARK[1]))]
    assert [one.name for one in frame.gaps] == ["overwritten"]
    found = {one.name: one for one in frame.alarms}
    assert found["disconnected"].priority == 3
    assert abs(found["disconnected"].start - minute(APART[0])) < 15_000
    assert found["supply_interrupted"].acknowledged == minute(OUTAGE[0] + 1)
    assert (found["purity_low"].value, found["purity_low"].limit) == (77.5, 82.0)
    assert found["stored_energy"].value is None
    assert abs(found["purity_low"].start - minute(IMPURE[0])) < 15_000


def test_limits_come_in_the_units_of_the_plots(frame):
    """160 to 300 V is the window of a UPS rated 230 V (common practice, no source)."""
    assert [round(one.value) for one in frame.limits["supply.window_low"]] == [160]
    assert [round(one.value) for one in frame.limits["supply.window_high"]] == [300]
    assert [one.value for one in frame.limits["pressure.high"]] == [35]


def test_the_waveform_comes_for_short_windows_only(frame, store):
    assert frame.wave is None
    with reading(store) as reader:
        short = night_frame(reader, choose_module(reader, None), minute(20), minute(20) + 5000, 400)
    assert len(short.wave.t) == 500
    assert set(np.diff(short.wave.t).tolist()) == {10}


def test_a_long_window_does_without_single_breaths(store):
    with reading(store) as reader:
        year = night_frame(reader, choose_module(reader, None), END - 365 * 86_400_000, END, 400)
    assert year.breaths is None
    assert np.nanmin(year.oxygen.low) < 80


def test_now_says_what_the_last_second_said(store):
    with reading(store) as reader:
        module = choose_module(reader, None)
        now = now_frame(reader, module, END + 1500, 12 * 3_600_000)
    assert now.t == END
    assert (now.supply_state, now.oxygen_state, now.mode, now.preset) == (
        "normal", "current", "ventilator", "adult",
    )  # fmt: skip
    assert now.dark_ms == round((DARK[1] - DARK[0]) * 60_000)
    assert now.breath.rate == pytest.approx(12, abs=1)
    assert set(now.change) == {"supply_in", "supply_out", "oxygen", "pressure"}
    assert abs(now.change["oxygen"]) < 0.5
    assert "clock_set" in now.flags


def test_silence_since_the_last_record_counts_as_unrecorded(store):
    with reading(store) as reader:
        now = now_frame(reader, choose_module(reader, None), END + 600_000, 12 * 3_600_000)
    assert now.dark_ms == round((DARK[1] - DARK[0]) * 60_000) + 600_000


def test_only_new_samples_are_handed_out(store):
    with reading(store) as reader:
        first = wave_since(reader, MODULE, 0, END)
        assert len(first.t) == 30_000
        again = wave_since(reader, MODULE, int(first.t[-101]), END)
        assert again.t.tolist() == first.t[-100:].tolist()
        assert len(wave_since(reader, MODULE, int(first.t[-1]), END).t) == 0


def test_the_module_asked_for_is_chosen_else_the_last_heard(tmp_path):
    path = tmp_path / "two.db"
    write_night(path, START, 0.02, module=1)
    write_night(path, START + 3_600_000, 0.02, module=2)
    with reading(path) as reader:
        assert choose_module(reader, 1).id == 1
        assert choose_module(reader, None).id == 2
        assert choose_module(reader, 77).id == 2


def test_nights_come_newest_first(store):
    with reading(store) as reader:
        found = nights(reader, MODULE, 0)
    assert [one.start for one in found] == sorted((one.start for one in found), reverse=True)
    assert sum(one.monitored_ms for one in found) == (HOURS * 60 - (DARK[1] - DARK[0])) * 60_000
