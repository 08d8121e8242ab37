"""From commissioning on, in a browser, on two invented nights: the page says what the module measures.

Virtual time: the bed plays as fast as it goes whenever the test says so, and a quiet quarter of an hour
is left out. The outage of `second-outage` is the discharge test: about 16 of its 18 min are carried.
"""

import re

import pytest

from dashboard.settings import Settings
from firmware_sim import scenarios
from ingest.store.reader import open_reader, tables
from tests.support.live_pages import hurried, live_pages
from tests.ui.conftest import FITS, SMALL, press, served

pytestmark = pytest.mark.ui
MINUTE = 60
EARLIER_S = 14 * MINUTE


@pytest.fixture
def bed(request, tmp_path):
    store = tmp_path / "bed.db"
    with live_pages(hurried(scenarios.load(request.param), EARLIER_S), store) as live:
        live.play(100)
        with served(Settings(store=store, port=0, clock=live.clock)) as (address, _):
            yield live, address, store


def step(page, live, name, list_name, seconds):
    """Begin a step, let time pass, write its result down; return the step's line."""
    section = page.locator(".check-list", has=page.get_by_role("heading", name=list_name))
    press(page, re.compile(rf"^(Begin|Again): {name}, {list_name}$"))
    section.locator(".open-step", has_text=name).wait_for()
    live.play(seconds)
    press(page, "Write the result down")
    line = section.locator(".step", has_text=name)
    line.get_by_text(re.compile("passed|failed")).wait_for()
    return line.inner_text()


def confirmed(page, name):
    """Confirm a step that only a person can see."""
    press(page, f"Begin: {name}, Pre-use check")
    press(page, "Yes, it was right")
    page.locator(".step-passed", has_text=name).wait_for()


@pytest.mark.parametrize("bed", ["second-outage"], indirect=True)
def test_second_outage_from_commissioning_to_what_to_check_first(visit, bed):
    live, address, store = bed
    page = visit(address + "/setup")
    page.fill("#setup-who", "AB")
    assert re.search(r"22\d\.\d V", step(page, live, "Supply present", "Pre-use check", 15))
    assert "proven by the waveforms" in step(page, live, "UPS out of bypass", "Pre-use check", 15)
    assert re.search(r"95\.\d %", step(page, live, "Purity reached", "Pre-use check", 40))
    confirmed(page, "Torch at the bed")
    # A patient breathes on this circuit.
    press(page, "Begin: Circuit tight, Pre-use check")
    page.get_by_text("A breath was seen in the last 60 s").wait_for()
    assert re.search(r"-?−?\d\.\d °", step(page, live, "Taps in phase", "Commissioning", 10))
    press(page, "Begin: Discharge test, Commissioning")
    page.get_by_text("confirm that a second source stands ready").wait_for()
    press(page, "A second source stands ready and is tried")
    page.get_by_role("button", pressed=True, name="A second source stands ready").wait_for()
    press(page, "Begin: Discharge test, Commissioning")
    page.locator(".open-step", has_text="Discharge test").wait_for()
    live.play(20 * MINUTE - EARLIER_S - (live.clock() - start_of(store)) / 1000 + 120)
    page.get_by_text("not yet: on the battery").wait_for()
    # The page is closed and opened again: nothing was kept in it.
    page.goto(address + "/")
    live.play(17 * MINUTE)
    page.get_by_role("link", name="What to check first").click()
    page.get_by_role("heading", name="Set-up").wait_for()
    page.locator(".first summary", has_text="UPS in bypass").wait_for()
    page.locator(".first", has_text="it comes back so after it ran empty").wait_for()
    page.locator(".first", has_text=re.compile("before that . min dead")).wait_for()
    press(page, "Write the result down")
    line = page.locator(".step-passed", has_text="Discharge test")
    line.wait_for()
    minutes = int(re.search(r"(\d+) min", line.inner_text())[1])
    assert 14 <= minutes <= 17
    live.play(5)
    with open_reader(store) as reader:
        found = reader.settings_at(reader.modules()[0].id, live.clock())
    # What the page wrote down is what the module counted for itself, and what the reserves use.
    assert abs(tables.setting_value(found.values, "battery.proven_minutes") - minutes) <= 1
    sheet = page.context.request.get(address + page.get_by_role("link", name="Sheet to print").last
                                     .get_attribute("href")).text()  # fmt: skip
    assert "SIMULATED" in sheet
    assert f"{minutes} min" in sheet
    assert "Discharge test due again on 2026-08-" in sheet


def start_of(store):
    """Return the UTC ms at which the bed began."""
    with open_reader(store) as reader:
        return reader.boots(reader.modules()[0].id)[0].utc0


@pytest.mark.parametrize("bed", ["cylinder-takeover"], indirect=True)
def test_cylinder_takeover_clock_and_upkeep(visit, bed):
    live, address, _ = bed
    page = visit(address + "/setup", "phone", "dim")
    page.fill("#setup-who", "AB")
    assert re.search(r"93\.\d %", step(page, live, "Purity reached", "Pre-use check", 40))
    page.get_by_role("radio", name="Filter").check()
    page.get_by_role("radio", name="cleaned").check()
    press(page, "Write it down")
    page.get_by_text("Filter cleaned").wait_for()
    page.get_by_text("Filter: due on 2026-02-2").wait_for()
    page.get_by_role("radio", name="Concentrator").check()
    page.get_by_role("radio", name="hours read").check()
    page.fill("#upkeep-hours", "4120")
    press(page, "Write it down")
    page.get_by_text("Concentrator's counter: 4120 to 4121 h now.").wait_for()
    page.fill("#clock-typed", "2026-02-15 25:00")
    press(page, "Set the clock")
    page.get_by_text("That is no date and time").wait_for()
    page.fill("#clock-typed", "2026-02-15 23:30")
    press(page, "Set the clock")
    page.get_by_text("the module answers: done").wait_for()
    page.get_by_text(re.compile(r"Last set at .* to 2026-02-15 23:30")).wait_for()
    press(page, "Set from this browser")
    page.get_by_text(re.compile(r"Last set at .* from 2026-02-15 23:30 to")).wait_for()
    live.play(8 * MINUTE)
    press(page, "Again: Purity reached, Pre-use check")
    page.locator(".open-step", has_text="Purity reached").wait_for()
    live.play(40)
    page.get_by_text("this is probably cylinder oxygen").wait_for()
    press(page, "Leave this step")
    page.reload()
    page.locator(".first summary", has_text="Probably cylinder").click()
    page.locator(".first", has_text="A cylinder feeds the circuit").wait_for()
    assert page.evaluate(FITS)
    assert page.evaluate(SMALL) == []
    page.goto(address + "/")
    page.get_by_text("Upkeep: Filter: due on").wait_for()
