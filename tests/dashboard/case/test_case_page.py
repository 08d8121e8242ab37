"""The Case page against the real firmware, and what it says, in both languages."""

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from dashboard import casing
from dashboard.app import create_app
from dashboard.pages import case, entries, now, reasons
from dashboard.settings import Settings
from dashboard.texts import CATALOGUES, Words
from dashboard.view import View
from ingest import marks as writing
from ingest.analysis.first_actions import first_actions
from ingest.store.reader import open_reader
from tests.dashboard.conftest import find, said, spoken
from tests.dashboard.test_texts import strangers
from tests.ingest.analysis.test_first_actions import GOOD
from tests.support.bed import scenario
from tests.support.bed_client import in_place
from tests.support.live_bed import LiveBed

TOLD = {"author": "AB", "mode": "hand", "preset": "child", "label": "cot 3", "end": ""}


@pytest.fixture(scope="module")
def whole_bed(tmp_path_factory):
    made = LiveBed(scenario(), tmp_path_factory.mktemp("case") / "night.db")
    made.play(15)
    yield made
    made.close()


@pytest.fixture
def bed(whole_bed, monkeypatch):
    in_place(monkeypatch, casing, writing).bed = whole_bed
    yield whole_bed
    whole_bed.clear()


@pytest.fixture
def settings(bed):
    return Settings(store=bed.path, clock=lambda: bed.now)


def view_at(settings, language="en", texts=None):
    words, zone = Words(language, texts), ZoneInfo("UTC")
    return View(words=words, zone=zone, theme="paper", width=1280, now=settings.clock())


def press(settings, do, **other):
    view = view_at(settings)
    return case.done(settings, view, "", do, TOLD | other)


def marks(bed, kind):
    with open_reader(bed.path) as reader:
        return reader.marks(bed.module, kind=kind)


def test_a_case_is_lived_through_on_the_page(bed, settings):
    text = said(case.page(settings, view_at(settings), ""))
    assert "No case is open: trends, limits and reports belong to nobody." in text
    assert "No case is open" in said(now.page(settings, view_at(settings), ""))
    good, words = press(settings, "start")
    assert not good
    assert words == "The module answers: press the module's own button first. Nothing was changed."
    assert marks(bed, "case") == []

    bed.happen("person", "acknowledge").play(3)
    assert press(settings, "start") == (True, "The module answers: done. Case 1 began.")
    good, words = press(settings, "start")
    assert not good
    assert "Case 1 of this module is still open since 20" in words
    bed.play(3)
    text = said(case.page(settings, view_at(settings), ""))
    assert "Case 1, open since 20" in text
    assert "Started with preset Child, mode Hand. In force now: Child, Hand. Started by AB" in text
    assert "Called cot 3" in text
    assert "Limits of previous use: confirm" in text

    assert press(settings, "confirm") == (True, "Limits of previous use: confirm: the module answers: done.")
    bed.play(3)
    assert "Limits of previous use" not in said(case.page(settings, view_at(settings), ""))
    bed.happen("person", "acknowledge").play(3)
    assert press(settings, "end", end="99:00")[1] == "Write the time as HH:MM, within the last 24 hours."
    assert press(settings, "end") == (True, "The module answers: done. Case 1 has ended; standby.")
    assert press(settings, "end") == (False, "Not done: No case of this module is open.")
    page = case.page(settings, view_at(settings), "")
    ways = ("/night?", "/handover.pdf?")
    links = [one.href for one in find(page, lambda c: getattr(c, "href", "").startswith(ways))]
    (mark,) = marks(bed, "case")
    assert links == [
        f"/night?module={bed.module:08x}&from={mark.utc}&to={mark.utc_end}",
        f"/handover.pdf?module={bed.module:08x}&case=1",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("do", "odd", "sentence"),
    [
        ("start", {"author": " "}, "Write your initials"),
        ("start", {"mode": ""}, "Choose mode and preset."),
        ("start", {"preset": "<b>"}, "Choose mode and preset."),
        ("start", {"preset": "infant"}, "No site has supplied infant values"),
        ("end_record", {}, "No case of this module is open"),
    ],
)
def test_what_makes_no_sense_is_refused_and_nothing_is_written(bed, settings, do, odd, sentence):
    good, words = press(settings, do, **odd)
    assert not good
    assert sentence in words
    assert marks(bed, "case") == []


def test_a_forgotten_end_is_asked_about_and_never_decided(bed, settings):
    casing.Client(bed.path).start_case(bed.module, mode="ventilator", preset="adult", label="", operator="AB")
    later = replace(settings, clock=lambda: bed.now + 61 * 60_000)
    text = said(case.page(later, view_at(later), ""))
    assert "Is this case still going on? Nothing is ended by itself. the module was not heard, since" in text
    assert "It goes on" in text
    on_now = said(now.page(later, view_at(later), ""))
    assert "Case 1, open since" in on_now and "Is this case still going on?" in on_now
    assert marks(bed, "case")[0].utc_end is None
    assert case.done(later, view_at(later), "", "goes_on", TOLD) == (True, "Written down: it goes on.")
    assert "still going on" not in said(case.page(later, view_at(later), ""))
    # The module is gone for good: only the record is ended, by a person.
    good, words = case.done(later, view_at(later), "", "end_record", TOLD)
    assert (good, words) == (True, "Case 1 has ended, in the record only.")


VALUES = {"author": "AB", "spo2": "94", "pulse": "", "oxygen_flow": "", "gauge": "", "agent_level": "",
          "agent_left": "", "unit": "", "time": ""}  # fmt: skip


def test_what_is_read_off_is_entered_all_or_nothing(bed, settings):
    view = view_at(settings)
    good, words = entries.saved(settings, view, "", VALUES | {"pulse": "88", "gauge": "1500", "unit": "psi"})
    assert (good, words) == (True, "Entered: SpO2, Pulse, Cylinder gauge.")
    listed = said(entries.recent(settings, view_at(settings), ""))
    assert "SpO2: 94 %, by AB" in listed
    assert "Cylinder gauge: 103 bar, by AB" in listed  # 1 psi = 6894.757 Pa (definition)
    before = marks(bed, "hand")
    for odd, sentence in (
        ({"gauge": "4000", "unit": "bar"}, "4000 bar is outside 0 to 300 bar"),
        ({"gauge": "100", "unit": ""}, "use one of bar, psi, kPa"),
        ({"oxygen_flow": "-2"}, "-2 L/min is negative"),
        ({"spo2": "101"}, "outside 0 to 100 %"),
        ({"pulse": "fast"}, "is not a number"),
        ({"spo2": ""}, "Write at least one value."),
        ({"author": ""}, "Write your initials"),
        ({"time": "25:00"}, "Write the time as HH:MM"),
    ):
        good, words = entries.saved(settings, view, "", VALUES | odd)
        assert not good
        assert sentence in words
    assert marks(bed, "hand") == before
    assert "Write your initials" in entries.taken_back(settings, view, "", before[0].mark, "")
    assert entries.taken_back(settings, view, "", before[0].mark, "CD") == "Taken back; its history stays."
    assert marks(bed, "hand") == before[1:]
    _, words = entries.saved(settings, view_at(settings, "fr"), "", VALUES | {"oxygen_flow": "-2"})
    assert "débit d'oxygène : -2 L/min est négatif" in words


def test_one_tap_is_enough_for_a_reason(bed, settings):
    view = view_at(settings)
    assert reasons.tapped(settings, view, "", "suction", "").startswith("Suction, written down at ")
    (mark,) = marks(bed, "suction")
    assert (mark.author, mark.text) == ("page", "")
    assert abs(mark.utc - bed.now) < 1000


def test_the_sites_own_first_actions_stand_beside_the_alarm(bed, settings):
    bed.happen("circuit", "disconnect", duration_s=60.0).play(20)
    with_site = replace(settings, actions=first_actions(GOOD, "ward.toml"))
    text = said(now.page(with_site, view_at(settings), ""))
    assert "First actions of this site Invented: look at the tube. Approved by invented ward board" in text
    assert "First actions" not in said(now.page(settings, view_at(settings), "")), "nothing is shipped"


def test_the_page_says_nothing_of_its_own_and_is_named_in_both_languages(bed, settings):
    casing.Client(bed.path).start_case(bed.module, mode="hand", preset="adult", label="", operator="AB")
    entries.saved(settings, view_at(settings), "", VALUES)
    marked = view_at(settings, texts={key: f"⟦{text}⟧" for key, text in CATALOGUES["en"].items()})
    shown = [case.page(settings, marked, ""), entries.recent(settings, marked, "")]
    assert len(list(spoken(shown))) > 40
    assert strangers(spoken(shown)) == []
    page = case.page(settings, view_at(settings), "")
    labelled = {one.htmlFor for one in find(page, lambda c: hasattr(c, "htmlFor"))}
    assert {one.id for one in find(page, lambda c: type(c).__name__ == "Input")} == labelled
    client = create_app(settings).server.test_client()
    assert client.get("/case").status_code == 200
    for odd in ("case=9", "case=x", "case=1%00", ""):
        assert client.get(f"/handover.pdf?module={bed.module:08x}&{odd}").status_code == 404


def test_a_mistyped_label_is_corrected_on_the_page(bed, settings):
    casing.Client(bed.path).start_case(
        bed.module, mode="ventilator", preset="adult", label="cot 3", operator="AB"
    )
    told = {"author": "CD", "number": "1", "new_label": "cot 4"}
    before = case._state(case.bedside(settings, view_at(settings), ""))
    assert press(settings, "rename", **told) == (True, "Case 1 is called cot 4 now.")
    assert case._state(case.bedside(settings, view_at(settings), "")) != before, "the page is drawn anew"
    text = said(case.page(settings, view_at(settings), ""))
    assert "Called cot 4" in text and "Started by AB" in text
    assert "Called before cot 3, until 20" in text and "changed by CD" in text
    french = said(case.page(settings, view_at(settings, "fr", CATALOGUES["fr"]), ""))
    assert "Noms antérieurs cot 3, jusqu'au" in french and "Corriger le nom" in french
    for odd, sentence in (
        ({"number": "x"}, "Write the number of a case in the list."),
        ({"number": "7"}, "Not done: There is no case 7 of this module"),
        ({}, "Not done: Case 1 is called that already; nothing was changed."),
        ({"new_label": "x" * 81}, "Not done: The label has 81 letters; 80 are allowed."),
        ({"author": ""}, "Write your initials"),
    ):
        good, words = press(settings, "rename", **told | odd)
        assert not good and sentence in words
    assert press(settings, "rename", **told | {"new_label": ""}) == (True, "Case 1 has no label now.")
    assert "Called cot" not in said(case.page(settings, view_at(settings), ""))
