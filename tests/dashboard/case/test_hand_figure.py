"""What was entered by hand, in the Night figure: points with values, no line, and said to be by hand."""

from dataclasses import replace

import pytest

from dashboard.figures import hand
from dashboard.figures.night import night_figure
from dashboard.pages.night import look_of
from dashboard.queries import choose_module, night_frame, reading
from ingest.analysis.hand import HandPoint
from tests.dashboard.conftest import START, drawn
from tests.dashboard.test_texts import strangers

MINUTE = 60_000


def point(what, minute, value):
    return HandPoint(what=what, at_ms=START + minute * MINUTE, value=value, author="AB")


POINTS = (
    point("spo2", 10, 97.0), point("spo2", 40, 95.0), point("spo2", 40.05, 94.0), point("gauge", 20, 137.0),
)  # fmt: skip


@pytest.fixture
def frame(settings):
    with reading(settings.store) as reader:
        return night_frame(reader, choose_module(reader, None), START, START + 60 * MINUTE, 800)


def test_points_stand_at_their_time_with_their_value_and_no_line(frame, view):
    figure = night_figure(replace(frame, hand=POINTS), look_of(view))
    mine = [one for one in figure["data"] if one.get("yaxis") == hand.AXIS and "text" in one]
    assert [one["mode"] for one in mine] == ["markers+text"] * 2
    assert mine[0]["x"] == [START + 10 * MINUTE, START + 40 * MINUTE, START + 40 * MINUTE + 3000]
    assert mine[0]["text"] == ["97", "", "94"], "where two stand close the newer one is said"
    assert mine[1]["text"] == ["137"]
    axis = figure["layout"]["yaxis9"]
    assert axis["ticktext"] == ["SpO2, %, by hand", "Cylinder gauge, bar, by hand"]


def test_nothing_entered_takes_no_room(frame, view):
    assert hand.panels(frame, look_of(view)) == []
    assert "yaxis9" not in night_figure(frame, look_of(view))["layout"]


@pytest.mark.parametrize("width", [360, 1280])
def test_it_says_nothing_of_its_own(frame, marked, width):
    look = look_of(replace(marked, width=width))
    assert strangers(drawn(night_figure(replace(frame, hand=POINTS), look))) == []
