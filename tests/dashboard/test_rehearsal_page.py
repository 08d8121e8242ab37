"""The page Rehearsal over a night that the real module recorded."""

from dataclasses import replace

import pytest

from dashboard.figures.rehearsal import Tried, sweep_figure
from dashboard.pages import rehearsal
from dashboard.pages.night import look_of
from dashboard.rehearsing import OFFERED
from dashboard.settings import Settings
from firmware_sim.contract import alarms
from ingest.store.annotations import Annotations
from ingest.store.reader import open_reader
from ingest.store.writer import Writer
from tests.dashboard.conftest import drawn, find, said, spoken
from tests.dashboard.test_texts import strangers
from tests.support.nights import play


@pytest.fixture(scope="module")
def recorded(tmp_path_factory):
    """27 min with the circuit apart from minute 20 on; the parting marked by a person."""
    path = tmp_path_factory.mktemp("rehearsal") / "apart.db"
    play("restless-thumb", path, 0.45)
    with open_reader(path) as reader:
        module = reader.modules()[0].id
        found = [one for one in reader.alarms(module, 0, 1 << 50)
                 if one.row == alarms.ID_OF["disconnected"]][-1]  # fmt: skip
    writer = Writer(path, found.start)
    Annotations(writer).add(module=module, utc=found.start - 10_000, kind="event", author="A. B.",
                            text="disconnected", utc_end=found.start + 60_000, now=found.start)  # fmt: skip
    writer.close()
    return Settings(store=path, clock=lambda: found.start + 600_000)


@pytest.fixture
def page_view(view, recorded):
    return replace(view, now=recorded.clock())


def test_the_form_stands_and_sends_nothing(recorded, page_view):
    page = rehearsal.page(recorded, page_view, "")
    assert "Nothing here is sent to a module." in said(page)
    assert "pressure.disconnect_delay" in OFFERED
    assert "supply.nominal_voltage" not in OFFERED


def test_a_late_event_stands_first(recorded, page_view):
    parts = rehearsal.answer(recorded, page_view, "", "pressure.disconnect_delay", "20")
    text = said(parts)
    assert text.index("LATE: Circuit apart") < text.index("Alarms an hour")
    assert "does not repeat" not in text
    figure = next(find(parts, lambda node: type(node).__name__ == "Graph")).figure
    assert len(figure["data"]) == 3


def test_the_same_setting_is_neither_late_nor_missed(recorded, page_view):
    text = said(rehearsal.answer(recorded, page_view, "", "pressure.disconnect_delay", "10"))
    assert "Of 1 marked events none would have been missed or later" in text


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [("pressure.disconnect_delay", "25", "20 s, not even in a rehearsal"),
     ("oxygen.low", "many", "needs a number"), ("oxygen.low", "", "write a value"),
     ("module.mode", "1", "write a value")],
)  # fmt: skip
def test_what_can_not_be_tried_is_said(recorded, page_view, name, value, words):
    assert words in said(rehearsal.answer(recorded, page_view, "", name, value))


def test_a_night_without_inputs_is_said(settings, view):
    text = said(rehearsal.answer(settings, view, "", "oxygen.delay", "20"))
    assert "nothing to rehearse" in text


def test_it_says_nothing_of_its_own(recorded, marked):
    view = replace(marked, now=recorded.clock())
    assert strangers(spoken(rehearsal.page(recorded, view, ""))) == []
    parts = rehearsal.answer(recorded, view, "", "pressure.disconnect_delay", "20")
    assert strangers(spoken(parts)) == []


def test_the_plot_marks_the_setting_in_force_and_what_misses(view):
    tried = [Tried(text="5 s", added_s=-5.0, nuisance=9, missed=0, late=0),
             Tried(text="20 s", added_s=10.0, nuisance=3, missed=1, late=2),
             Tried(text="60 s", added_s=None, nuisance=0, missed=2, late=0)]  # fmt: skip
    current = Tried(text="", added_s=0.0, nuisance=6, missed=0, late=0)
    figure = sweep_figure(tried, current, look_of(view))
    kept, crosses, diamond = figure["data"]
    assert [trace["marker"]["symbol"] for trace in figure["data"]] == ["circle", "x", "diamond-open"]
    assert [len(trace["text"]) for trace in (kept, crosses, diamond)] == [1, 1, 1]
    assert crosses["text"] == ["20 s: 3 to no event, 1 missed, 2 late"]
    assert figure["layout"]["yaxis"]["range"][1] >= 9
    assert any("delay added" in text for text in drawn(figure))
