"""The page Supply by what it says: what was not watched first, bounds, texts of the catalogue."""

from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from dash import html

from dashboard.figures.supply import calendar, days, magnitude_duration
from dashboard.pages import supply
from dashboard.queries import reading
from dashboard.settings import Settings
from dashboard.supply_queries import capture_frame, supply_frame
from dashboard.texts import CATALOGUES, Words
from dashboard.view import View
from tests.dashboard.conftest import drawn, find, said, spoken
from tests.dashboard.test_texts import strangers
from tests.support.supply_store import HOURS, START

END = START + HOURS * 3_600_000


@pytest.fixture
def settings(supply_store):
    return Settings(store=supply_store, clock=lambda: END + 2000)


@pytest.fixture
def view():
    return View(words=Words(), zone=ZoneInfo("UTC"), theme="paper", width=1280, now=END)


@pytest.fixture
def frame(settings):
    with reading(settings.store) as reader:
        return supply_frame(reader, reader.modules()[0], START, END, ZoneInfo("UTC"))


def test_the_page_begins_with_what_was_not_watched(settings, view):
    text = said(supply.page(settings, view, "").children[0])
    assert text.index("Not watched: 30 min of 4 h 00 min. Coverage 87.5 %.") < text.index("Not measured:")
    assert "rates a week are extrapolations" in text


def test_each_figure_has_bounds_that_admit_the_dark_time(frame, view):
    text = said(supply.glance(frame, None, view))
    # 4 min out of 210 watched: 98.10 %; of 240: 206/240 and 236/240.
    assert "98.10 %, bounds 85.83 to 98.33" in text
    # All that was measured was inside; 30 of 240 min were not.
    assert "100.00 %, bounds 87.50 to 100.00" in text
    assert "144.0 /week" in text


def test_an_unknown_nominal_is_said_and_gives_no_share(settings, view):
    with reading(settings.store) as reader:
        module = replace(reader.modules()[0], nominal_v=0)
        unknown = supply_frame(reader, module, START, END, ZoneInfo("UTC"))
    text = said(supply.glance(unknown, None, view))
    assert "not available: nominal voltage unknown" in text
    assert "/week" not in text
    assert "nominal voltage is unknown" in said(supply.head(unknown, (START, END), view))


def test_the_calendar_tells_never_watched_from_quiet(frame, view):
    figure = calendar(frame.week, supply.look_of(view), lambda day, hour: f"{day} {hour}")
    seen, dark = figure["data"]
    assert len(seen["y"]) == HOURS
    assert len(dark["y"]) == 7 * 24 - HOURS
    assert dark["marker"]["pattern"]["shape"]
    assert [text for text in seen["text"] if text] == ["1"]


def test_the_days_begin_with_a_monday_and_tell_never_watched_from_quiet(frame, view):
    """The record is of a Sunday: one day of its week was watched, and one interruption began."""
    assert [str(day) for day in frame.days.days] == [f"2026-02-{n}" for n in range(23, 29)] + ["2026-03-01"]
    shown, never = days(frame.days, supply.look_of(view), str)["data"]
    assert (shown["y"], shown["base"], shown["text"]) == ([6], [0], ["1"])
    assert never["y"] == [0, 1, 2, 3, 4, 5]
    (graph,) = find(supply.days(frame, view), lambda c: getattr(c, "figure", None) is not None)
    assert graph.figure["data"][0]["hovertext"] == [
        "2026-03-01, 1 begun, 4.0 min without supply, 3.5 h watched"
    ]
    assert graph.figure["data"][1]["hovertext"][0] == "2026-02-23, never watched"


def test_what_is_at_least_is_drawn_hollow(frame, view):
    figure = magnitude_duration(frame.events, (), supply.look_of(view), lambda e: "")
    dips = figure["data"][1]["marker"]
    assert dips["symbol"] == ["circle", "circle", "circle-open"]
    # A year's crowd is drawn smaller, and in both the curves lie above the marks.
    crowd = magnitude_duration(frame.events * 200, (), supply.look_of(view), lambda e: "")
    assert crowd["data"][1]["marker"]["size"] < dips["size"]
    for one in (figure, crowd):
        assert [trace["mode"] for trace in one["data"]] == ["markers"] * 3 + ["lines"] * 3


def test_the_capture_of_an_event_has_rms_and_harmonics(settings, frame):
    with reading(settings.store) as reader:
        found = capture_frame(reader, frame.module, frame.events[0])
        assert capture_frame(reader, frame.module, frame.events[1]) is None
    assert found.complete
    assert (found.ms[0], len(found.volts)) == (-200.0, 3200)
    part = [np.abs(found.volts[(found.ms >= a) & (found.ms < b)]).max() for a, b in ((-200, 0), (50, 450))]
    assert part[1] / part[0] == pytest.approx(0.7, abs=0.01)
    assert found.disturbance == "dip"
    # Made with a fifth harmonic of 4 % throughout.
    assert found.before[4] == pytest.approx(4.0, abs=0.05)
    assert found.after[4] == pytest.approx(4.0, abs=0.05)


def test_the_capture_is_named_by_the_rules_where_they_can_tell(settings, view, frame):
    with reading(settings.store) as reader:
        found = capture_frame(reader, frame.module, frame.events[0])
        unknown = capture_frame(reader, replace(frame.module, nominal_v=0), frame.events[0])
    shown = [said(html.Div(supply.capture(one, frame.events[0], view))) for one in (found, unknown)]
    assert "By the rules for waveforms: dip." in shown[0]
    assert unknown.disturbance is None
    assert "By the rules" not in shown[1]


@pytest.mark.parametrize("search", ["", "?module=zzz&from=5&to=1", f"?from={START}&to={START + 600_000}"])
def test_any_address_gives_a_page(settings, view, search):
    assert said(supply.page(settings, view, search)).startswith("Supply")


def test_the_page_says_nothing_of_its_own(settings, view, frame):
    marks = Words("en", {key: f"⟦{text}⟧" for key, text in CATALOGUES["en"].items()})
    marked = replace(view, words=marks)
    page = supply.page(settings, marked, "")
    assert strangers(spoken(page)) == []
    graphs = list(find(page, lambda c: getattr(c, "figure", None) is not None))
    assert len(graphs) == 3
    strings = [text for graph in graphs for text in drawn(graph.figure)]
    assert len(strings) > 20
    assert strangers(strings) == []
    with reading(settings.store) as reader:
        found = capture_frame(reader, frame.module, frame.events[0])
    assert strangers(spoken(supply.capture(found, frame.events[0], marked))) == []
    (grid,) = find(page, lambda c: hasattr(c, "columnDefs"))
    assert strangers([column["headerName"] for column in grid.columnDefs]) == []
