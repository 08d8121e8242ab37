"""What people know of a supply: the command writes it, the study reads it, the page shows it."""

import json
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner

from dashboard.cli.label import label
from dashboard.pages import site, supply
from dashboard.queries import reading
from dashboard.reports.study_data import site_of
from dashboard.settings import Settings
from dashboard.site_marks import site_marks
from dashboard.texts import CATALOGUES, Words
from dashboard.view import View
from ingest.errors import UserError
from ingest.store.reader import open_reader
from tests.dashboard.conftest import said, spoken
from tests.dashboard.test_texts import strangers
from tests.support.supply_store import HOURS, START, write_supply

END = START + HOURS * 3_600_000
DAY = "2026-03-01T"
AT_NIGHT = (f"--from={DAY}00:00", f"--to={DAY}01:00")
PUMP = ("--equipment", "pump", "--by", "AB")


@pytest.fixture
def store(tmp_path):
    return write_supply(tmp_path / "clinic.db")


@pytest.fixture
def view():
    return View(words=Words(), zone=ZoneInfo("UTC"), theme="paper", width=1280, now=END)


def call(store, *args):
    name, *rest = args
    return CliRunner().invoke(label, [name, "--store", str(store), *rest], catch_exceptions=False)


def study_of(store):
    with open_reader(store) as reader:
        return site_of(reader, reader.modules()[0], START, END, zone=ZoneInfo("UTC"))


def test_the_command_writes_what_the_study_reads(store):
    call(store, "site", "--phase", "L2", "--generator", "20 kVA diesel", "--by", "AB")
    call(store, "time", "--from", DAY + "00:29", "--to", DAY + "00:35", "--was", "load-shedding",
         "--by", "AB")  # fmt: skip
    call(store, "trip", "--at", DAY + "01:10:01", "--zone", "Europe/Paris", *PUMP)
    call(store, "watched", "--from", DAY + "00:00", "--to", DAY + "02:00", *PUMP)
    found = study_of(store)
    assert found.about == {"phase": "L2", "generator": "20 kVA diesel"}
    assert "load-shedding" in found.labels
    assert found.record.trips == (("pump", START / 1000 + 601),)
    assert found.record.watched == (("pump", START / 1000, START / 1000 + 7200),)


def test_a_mark_is_taken_off_and_the_list_says_so(store):
    call(store, "site", "--feeder", "hospital", "--by", "AB")
    assert "hospital" in call(store, "list").output
    call(store, "remove", "1", "--by", "AB")
    assert json.loads(call(store, "list", "--json").output) == {"marks": []}
    assert study_of(store).about == {}


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("site", "--by", "AB"), "phase, a feeder or a generator"),
        (("site", "--phase", "L2"), "initials"),
        (("site", "--phase", "x" * 61, "--by", "AB"), "at most 60 letters"),
        (("time", f"--from={DAY}01:00", f"--to={DAY}00:00", "--was", "fault", "--by", "AB"), "not after"),
        (("time", *AT_NIGHT, "--was", "rain", "--by", "AB"), "rain is no"),
        (("trip", "--at", "yesterday", *PUMP), "yesterday is no date"),
        (("trip", "--at", "2027-01-01", *PUMP), "Nothing was recorded near"),
        (("trip", "--at", DAY + "01:00", "--module", "7", *PUMP), "no module 7"),
        (("trip", "--at", DAY + "01:00", "--zone", "Mars", *PUMP), "Mars is no"),
        (("remove", "9", "--by", "AB"), "no mark 9"),
    ],
)
def test_bad_input_is_one_sentence(store, args, says):
    with pytest.raises(UserError, match=says):
        call(store, *args)
    assert json.loads(call(store, "list", "--json").output) == {"marks": []}


def test_the_page_shows_and_writes_it(store, view):
    settings = Settings(store=store, clock=lambda: END)
    assert "Nothing was said" in said(supply.page(settings, view, ""))
    moments = ("2026-03-01 00:10:00", "2026-03-01 00:10:01")
    assert site.save_time(settings, view, "", "fault", (*moments, "", "AB")) == "Written."
    # A trip is a moment, whatever stands in the field of its end.
    site.save_time(settings, view, "", "trip", (*moments, "pump", "AB"))
    page = said(supply.page(settings, view, ""))
    assert "a fault" in page
    assert "pump" in page
    assert study_of(store).record.trips == (("pump", START / 1000 + 600),)
    for bad in (("", "", "", "AB"), (*moments[::-1], "", "AB"), (*moments, "", " ")):
        with pytest.raises(UserError):
            site.save_time(settings, view, "", "fault", bad)
    with pytest.raises(UserError, match="until when"):
        site.save_time(settings, view, "", "equipment watched", (moments[0], "", "pump", "AB"))


def test_the_section_says_nothing_of_its_own(store, view):
    marked = Words(catalogue={key: f"⟦{text}⟧" for key, text in CATALOGUES["en"].items()})
    settings = Settings(store=store, clock=lambda: END)
    for what in ("generator", "trip", "equipment watched"):
        times = ("2026-03-01 00:10:00", "2026-03-01 00:20:00")
        site.save_time(settings, view, "", what, (*times, "pump", "AB"))
    with reading(store) as reader:
        marks = site_marks(reader, reader.modules()[0].id)
    strings = list(spoken(site.layout(marks, replace(view, words=marked))))
    assert len(strings) > 20
    assert strangers(strings) == []
