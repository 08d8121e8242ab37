"""Figures as data: gaps stay gaps, extremes stay, states and alarms are where they were."""

import base64
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dashboard.figures.frame import Look
from dashboard.figures.lanes import PIXELS_MIN, squeezed
from dashboard.figures.night import night_figure, thinned
from dashboard.figures.parts import broken, merged, ribbon, runs
from dashboard.frames import Stretch
from dashboard.queries import choose_module, night_frame, reading
from dashboard.texts import Words
from tests.dashboard.conftest import HOURS, START
from tests.support.night_store import DARK, OUTAGE

END = START + HOURS * 3_600_000
LOOK = Look(words=Words(), zone=ZoneInfo("UTC"), theme="paper", width=1200, narrow=False)


def unpacked(array):
    return np.frombuffer(base64.b64decode(array["bdata"]), "<" + array["dtype"])


@pytest.fixture(scope="module")
def frame(store):
    with reading(store) as reader:
        yield night_frame(reader, choose_module(reader, None), START, END, 500)


@pytest.fixture(scope="module")
def figure(frame):
    return night_figure(frame, LOOK)


def curves(figure, axis):
    return [one for one in figure["data"] if one["yaxis"] == axis and "meta" in one]


@pytest.mark.parametrize("axis", ["y2", "y4", "y5", "y6"])
def test_no_curve_crosses_what_was_not_recorded(figure, axis):
    low, high = START + DARK[0] * 60_000, START + DARK[1] * 60_000
    assert curves(figure, axis)
    for curve in curves(figure, axis):
        x = unpacked(curve["x"])
        assert not ((x > low + 120_000) & (x < high - 120_000)).any()
        for a, b in zip(x[:-1], x[1:], strict=True):
            assert not (a < low + 60_000 and b > high - 60_000), "drawn across the dark"


def test_only_traces_of_the_reduced_bundle_are_used(figure):
    assert {one["type"] for one in figure["data"]} <= {"scatter", "bar"}


def test_every_axis_says_its_unit(figure):
    captions = " ".join(one["text"] for one in figure["layout"]["annotations"])
    for unit in ("Supply, V", "at the source, %", "Circuit pressure, cmH2O", "Rate, /min"):
        assert unit in captions
    assert "time, UTC (UTC+00:00)" in figure["layout"]["xaxis"]["title"]["text"]


def test_limits_stand_in_every_panel(figure):
    for axis, values in (("y2", {160, 300}), ("y4", {82}), ("y5", {10, 35}), ("y6", {6, 30})):
        found = set()
        for one in figure["data"]:
            if one["yaxis"] == axis and one.get("line", {}).get("dash") == "2px,3px":
                found |= {round(float(y)) for y in unpacked(one["y"])}
        assert found == values
        low, high = figure["layout"]["yaxis" + axis[1:]]["range"]
        assert low <= min(values) and max(values) <= high


def test_what_was_not_recorded_is_washed_and_hatched(figure):
    shapes = [one for one in figure["layout"]["shapes"] if one["yref"] == "paper"]
    dark = tuple(START + edge * 60_000 for edge in DARK)
    assert [(one["x0"], one["x1"]) for one in shapes] == [dark]
    hatched = [one for one in figure["data"] if one["yaxis"] == "y8" and "marker" in one]
    assert {one["marker"]["pattern"]["shape"] for one in hatched} == {"/", "x"}


def test_undetermined_is_not_drawn_as_normal(figure):
    states = {one["name"]: one["marker"] for one in figure["data"] if one["yaxis"] == "y3" and "name" in one}
    assert states["not determined"]["pattern"]["shape"] != ""
    assert "pattern" not in states["normal"]
    looks = {name: (m["color"], m.get("pattern", {}).get("shape")) for name, m in states.items()}
    assert len(set(looks.values())) == len(looks)


def test_a_state_shorter_than_a_pixel_is_not_lost():
    bands = [Stretch(start=i * 10, end=i * 10 + 10, name="normal") for i in range(100)]
    bands[50] = replace(bands[50], name="dead")
    found = squeezed(bands, 200)
    assert "dead" in [one.name for one in found]
    assert (found[0].start, found[-1].end) == (0, 1000)


def test_a_short_state_takes_a_pixel_and_no_more():
    bands = [
        Stretch(start=0, end=10_000, name="normal"),
        Stretch(start=10_000, end=10_020, name="stored_energy"),
        Stretch(start=10_020, end=50_000, name="normal"),
    ]
    found = squeezed(bands, 100)
    assert [(one.start, one.end, one.name) for one in found] == [
        (0, 10_000, "normal"), (10_000, 10_100, "stored_energy"), (10_100, 50_000, "normal"),
    ]  # fmt: skip


def test_states_that_are_wide_enough_stay_as_they_were():
    bands = [Stretch(start=0, end=500, name="normal"), Stretch(start=500, end=900, name="bypass")]
    assert squeezed(bands, 100) == bands


def test_a_short_alarm_is_wide_enough_to_see_and_carries_its_true_times(figure):
    pixel = (END - START) / LOOK.plot_width
    bars = [one for one in figure["data"] if one["type"] == "bar" and one["yaxis"] == "y7"]
    assert {one["name"] for one in bars} == {"Low", "Medium", "High"}
    for one in bars:
        for x, base, (start, end) in zip(one["x"], one["base"], one["customdata"], strict=True):
            assert x >= PIXELS_MIN * pixel - 1
            assert base == start
            assert x >= end - start
    high = next(one for one in bars if one["name"] == "High")
    assert high["customdata"][0][1] - high["customdata"][0][0] < 30_000


def test_alarm_shapes_differ_by_priority(figure):
    glyphs = {one["text"][0] for one in figure["data"] if one.get("mode") == "text"}
    assert glyphs == {"●", "◆", "▲"}


def test_the_outage_reaches_the_ground(figure):
    before = next(one for one in curves(figure, "y2") if one["meta"][0] == "before the UPS")
    x, y = unpacked(before["x"]), unpacked(before["y"])
    inside = (x > START + (OUTAGE[0] + 2) * 60_000) & (x < START + (OUTAGE[1] - 2) * 60_000)
    assert y[inside].max() < 10


def test_thinning_keeps_the_extremes_of_each_column():
    rng = np.random.default_rng(3)
    t = np.arange(0, 400_000, 10, dtype=np.int64)
    value = rng.normal(10, 2, len(t))
    value[12_345], value[30_001] = 60.0, -9.0
    kept_t, kept = thinned(t, value, 500)
    assert len(kept) <= 1000
    assert {60.0, -9.0} <= set(kept)
    assert (np.diff(kept_t) > 0).all()


def test_few_points_are_all_drawn():
    t = np.arange(100, dtype=np.int64)
    assert thinned(t, t.astype(float), 50)[0] is t


def test_lines_and_ribbons_break_where_they_must():
    t = np.array([0, 1, 2, 10, 11], np.int64)
    y = np.array([1.0, np.nan, 3, 4, 5])
    x, cut = broken(t, y, 2)
    assert np.isnan(x[3]) and np.isnan(cut[3]) and len(x) == 6
    assert [(one.start, one.stop) for one in runs(t, ~np.isnan(y), 2)] == [(0, 1), (2, 3), (3, 5)]
    polygon = unpacked(ribbon(t, y, y + 1, "y2", "red", 2)["x"])
    assert np.isnan(polygon).sum() == 3


def test_empty_arrays_give_empty_curves():
    none, values = np.empty(0, np.int64), np.empty(0)
    assert len(broken(none, values, 1)[0]) == 0
    assert runs(none, np.empty(0, bool), 1) == []
    assert len(unpacked(ribbon(none, values, values, "y2", "red", 1)["x"])) == 0


def test_spans_that_one_pixel_cannot_tell_apart_are_drawn_once():
    assert merged([(50, 60), (0, 10), (12, 20)], 5) == [(0, 20), (50, 60)]


def test_a_phone_has_the_lanes_named_inside(frame):
    narrow = night_figure(frame, replace(LOOK, width=344, narrow=True))
    names = [one for one in narrow["data"] if one.get("textposition") == "middle right"]
    assert "Circuit apart or no pressure" in names[0]["text"]
    assert narrow["layout"]["dragmode"] is False
