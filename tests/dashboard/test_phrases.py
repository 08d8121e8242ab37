"""The night in words on the page: facts of the story, every phrase sayable, each leads to its place."""

import pytest

from dashboard.links import parse
from dashboard.morning import Mornings, read_morning
from dashboard.pages import night
from dashboard.phrases import sentences, text
from dashboard.queries import choose_module, nights, reading
from dashboard.texts import Words
from ingest.analysis.summary import PHRASES, Phrase
from tests.dashboard.conftest import HOURS, START, find, said
from tests.support.night_store import APART, BYPASS, DARK, IMPURE, MODULE, OUTAGE

MINUTE = 60_000


@pytest.fixture(scope="module")
def told(store):
    """The night of the story and all that is said of it."""
    with reading(store) as reader:
        ours = nights(reader, MODULE, 0)[0]
        yield ours, read_morning(reader, choose_module(reader, None), ours)


def at(span, minutes, within=1.1):
    return all(abs((edge - START) / MINUTE - m) <= within for edge, m in zip(span, minutes, strict=True))


def test_the_facts_are_those_of_the_story(told):
    facts = told[1].facts
    assert at(facts.unmonitored[0], DARK)
    # The alarm's off-delay of a minute belongs to its length.
    assert at((facts.outages[0].start_ms, facts.outages[0].end_ms), OUTAGE, within=1.5)
    assert [one.carried for one in facts.outages] == [True]
    assert at(facts.bypass[0], BYPASS)
    assert at(facts.purity_low[0], IMPURE)
    # Twelve a minute, but those of the dark and of the 35 s apart.
    assert facts.breaths == pytest.approx((HOURS * 60 - 12) * 12 - 7, abs=8)
    apart = [one for one in facts.findings if one.key == "finding.apart"]
    assert len(apart) == 1
    assert apart[0].seconds == pytest.approx((APART[1] - APART[0]) * 60, abs=8)


def test_the_night_in_words(told):
    sentences_of = [text(one, Words()) for one in told[1].phrases]
    assert sentences_of[0] == "12 min went unrecorded, in 1 stretch."
    assert sentences_of[1] == "Not measured: inspired oxygen, SpO₂, CO₂, volume."
    for begin in (
        "The mains failed or left the window of the UPS once, for 23 min",
        "Source purity below 85 % for 40 min, lowest 7",
        "Circuit apart, or no breath reached the sensor, once for 3",
    ):
        assert any(one.startswith(begin) for one in sentences_of), (begin, sentences_of)


def test_each_phrase_with_a_place_leads_there(told, view):
    ours, morning = told
    shown = sentences(morning.phrases, MODULE, ours.start, "/night", view)
    links = [parse(one.href.partition("?")[2]) for one in find(shown, lambda c: hasattr(c, "href"))]
    placed = [one for one in morning.phrases if one.start_ms is not None]
    assert len(links) == len(placed) >= 6
    for place, phrase in zip(links, placed, strict=True):
        assert place.window[0] < phrase.start_ms < phrase.end_ms < place.window[1]


@pytest.mark.parametrize("key", PHRASES)
@pytest.mark.parametrize("count", [1, 7])
def test_every_phrase_can_be_said(key, count):
    kinds = {"what": "alarms_per_hour", "finding": "finding.leak", "note": "note.taps_swapped"}
    if key == "summary.due":
        kinds["what"] = "due.calibration"
    params = {name: kinds.get(name, count) for name in PHRASES[key]}
    if key == "summary.not_measured":
        params["what"] = ("spo2", "volume")
    sentence = text(Phrase(key=key, params=params), Words())
    assert sentence.endswith(".")
    assert "{" not in sentence


def test_what_is_not_known_is_said_so():
    phrase = Phrase(key="summary.alarms", params={"count": 3, "per_hour": float("nan"), "high": 0})
    assert text(phrase, Words()) == "3 alarms, not known an hour; of high priority 0."


def test_words_are_made_once_a_night(settings, view):
    kept = Mornings()
    first, start = night.in_words(settings, view, "", None, kept)
    assert "12 min went unrecorded" in said(first)
    again = night.in_words(settings, view, f"from={START}&to={START + 60_000}", start, kept)
    assert again == (None, start)
