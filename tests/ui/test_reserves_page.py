"""The Reserves page in a browser: entries made by hand and by keyboard move the picture; it fits a phone."""

import pytest

from dashboard.settings import Settings
from tests.support.night_store import write_night
from tests.ui.conftest import FITS, START, in_sight, press

pytestmark = pytest.mark.ui
SMALL = """() => [...document.querySelectorAll('a, button, input[type=text], .kinds label, summary')]
  .filter(e => e.offsetParent !== null && !e.classList.contains('skip')).map(e => e.getBoundingClientRect())
  .filter(r => r.width < 44 || r.height < 44).length"""


@pytest.fixture
def reserves_address(tmp_path, serve):
    store = write_night(tmp_path / "night.db", START, 0.1)
    clock = START + 362_000
    return serve(Settings(store=store, port=0, clock=lambda: clock))[0]


def test_entries_move_the_picture(visit, reserves_address):
    page = visit(reserves_address + "/reserves")
    page.wait_for_selector("#reserves-graph .js-plotly-plot")
    page.fill("#reserves-field-author", "AB")
    page.get_by_role("radio", name="UK D").check()
    page.get_by_role("radio", name="bar").check()
    page.fill("#reserves-field-gauge", "4000")
    page.get_by_role("button", name="Enter cylinder").click()
    page.get_by_text("4000 bar is outside 0 to 300 bar").wait_for()
    page.fill("#reserves-field-gauge", "137")
    page.get_by_role("button", name="Enter cylinder").press("Enter")
    page.get_by_text("Entered.", exact=True).wait_for()
    page.fill("#reserves-field-oxygen", "2")
    page.fill("#reserves-field-volume", "5")
    page.fill("#reserves-field-bleed", "1")
    page.get_by_role("button", name="Enter flows").press("Enter")
    page.locator("#reserves-words").get_by_text("Cylinder: at least 32 min, until 20:38").wait_for()
    page.locator("#reserves-graph").get_by_text("Cylinder: at least 32 min, until 20:38").wait_for()


@pytest.mark.parametrize("theme", ["paper", "dim"])
def test_it_fits_a_phone(visit, reserves_address, theme):
    page = visit(reserves_address + "/reserves", "phone", theme)
    page.wait_for_selector("#reserves-graph .js-plotly-plot")
    assert page.evaluate(FITS)
    assert page.evaluate(SMALL) == 0
    assert page.get_by_text("SIMULATED").first.is_visible()
    # What a press brought about is in sight beside the button, on a page many screens long.
    page.fill("#reserves-field-author", "AB")
    press(page, "Enter flows")
    refused = page.get_by_text("Not entered: oxygen flow: '' is not a number")
    refused.wait_for()
    assert page.evaluate("scrollY") > 0
    assert in_sight(page, refused)
