"""The night in words: facts from the store, every phrase sayable, each leads to its place."""

import pytest

from dashboard.links import parse
from dashboard.morning import breath_table, night_facts, spans_where, summary
from dashboard.pages import night
from dashboard.phrases import sentences, text
from dashboard.queries import nights, reading
from dashboard.texts import Words
from ingest.analysis.summary import PHRASES, Phrase
from tests.dashboard.conftest import HOURS, START, find, said
from tests.support.night_store import APART, BYPASS, DARK, IMPURE, MODULE, OUTAGE

MINUTE = 60_000


@pytest.fixture(scope="module")
def found(store):
    """The facts and phrases of the story."""
    with reading(store) as reader:
        ours = nights(reader, MODULE, 0)[0]
        yield ours, night_facts(reader, ours, ()), summary(reader, ours, ())


def at(span, minutes):
    return [round((edge - START) / MINUTE) for edge in span] == [round(edge) for edge in minutes]


def test_the_facts_are_those_of_the_story(found):
    _, facts, _ = found
    assert at(facts.unmonitored[0], DARK)
    assert at((facts.outages[0].start_ms, facts.outages[0].end_ms), OUTAGE)
    assert [one.carried for one in facts.outages] == [True]
    assert at(facts.bypass[0], BYPASS)
    assert at(facts.purity_low[0], IMPURE)
    assert facts.purity_lowest_percent == pytest.approx(77.5, abs=1.5)
    assert facts.breaths == pytest.approx((HOURS * 60 - 12) * 12, abs=10)
    apart = [one for one in facts.findings if one.key == "finding.apart"]
    assert len(apart) == 1
    assert apart[0].seconds == pytest.approx((APART[1] - APART[0]) * 60, abs=8)


def test_the_night_in_words(found):
    _, _, phrases = found
    told = [text(one, Words()) for one in phrases]
    assert told[0] == "12 min went unrecorded, in 1 stretch."
    assert told[1] == "Not measured: inspired oxygen, SpO₂, CO₂, volume."
    for begin in (
        "The mains failed or left the window of the UPS once, for 22 min",
        "Source purity below 82 % for 40 min, lowest 7",
        "Circuit apart, or no breath reached the sensor, once for 3",
    ):
        assert any(one.startswith(begin) for one in told), begin


def test_each_phrase_with_a_place_leads_there(found, view):
    ours, _, phrases = found
    shown = sentences(phrases, MODULE, ours.start, "/night", view)
    links = [parse(one.href.partition("?")[2]) for one in find(shown, lambda c: hasattr(c, "href"))]
    placed = [one for one in phrases if one.start_ms is not None]
    assert len(links) == len(placed) >= 6
    for place, phrase in zip(links, placed, strict=True):
        assert place.window[0] < phrase.start_ms < phrase.end_ms < place.window[1]


@pytest.mark.parametrize("key", PHRASES)
@pytest.mark.parametrize("count", [1, 7])
def test_every_phrase_can_be_said(key, count):
    kinds = {"what": "alarms_per_hour", "finding": "finding.leak"}
    params = {name: kinds.get(name, count) for name in PHRASES[key]}
    if key == "summary.not_measured":
        params["what"] = ("spo2", "volume")
    told = text(Phrase(key=key, params=params), Words())
    assert told.endswith(".")
    assert "{" not in told


def test_what_is_not_known_is_said_so():
    phrase = Phrase(key="summary.alarms", params={"count": 3, "per_hour": float("nan"), "high": 0})
    assert text(phrase, Words()) == "3 alarms, not known an hour; of high priority 0."


def test_words_are_made_once_a_night(settings, view):
    first, start = night.in_words(settings, view, "", None)
    assert "12 min went unrecorded" in said(first)
    assert night.in_words(settings, view, f"from={START}&to={START + 60_000}", start) == (None, start)


def test_breaths_begin_where_their_times_say(store):
    with reading(store) as reader:
        table = breath_table(reader, MODULE, START, START + 10 * MINUTE)
        rows = reader.breaths(MODULE, START, START + 10 * MINUTE)
    assert table.end_ms.tolist() == rows.t.tolist()
    assert set(table.ti_s) == {1.4}


def test_spans_join_what_is_near_and_end_at_the_second():
    import numpy as np

    t = np.array([500, 1500, 2500, 6500, 7500], np.int64)
    assert spans_where(t, np.array([True, False, True, True, True])) == ((0, 3000), (6000, 8000))
    assert spans_where(t, np.zeros(5, bool)) == ()
