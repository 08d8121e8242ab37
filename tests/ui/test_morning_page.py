"""The clinician's morning in a browser: words, load, marks, language, unit; by keyboard, at both widths."""

import shutil

import pytest

from dashboard.settings import Settings
from ingest.store.reader import open_reader
from tests.support.night_store import MODULE
from tests.ui.conftest import FITS, HOURS, SMALL, START, WHOLE, until

pytestmark = pytest.mark.ui
LOADED = "#night-words .load"


@pytest.fixture
def own_store(night_store, tmp_path):
    """A copy of the night that a test may write marks into."""
    return shutil.copy(night_store, tmp_path / "own.db")


@pytest.fixture
def address(own_store, serve):
    """Pages over the copy."""
    clock = START + HOURS * 3_600_000 + 2000
    return serve(Settings(store=own_store, port=0, clock=lambda: clock))[0]


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_the_morning_fits_and_leads_to_its_places(visit, night_address, size):
    page = visit(night_address + WHOLE, size, "dim")
    page.wait_for_selector(LOADED, timeout=30_000)
    assert page.evaluate(FITS)
    said = page.locator("#night-words li").all_text_contents()
    assert said[0].startswith("12 min went unrecorded")
    assert said[1].startswith("Not measured: inspired oxygen")
    for text in ("Alarm load", "observed in an intensive care unit", "What pressure alone can't tell"):
        assert page.get_by_text(text, exact=False).first.is_visible()
    assert page.evaluate(SMALL) == []


def test_a_mark_is_written_changed_and_found_by_keyboard_alone(visit, address, own_store):
    page = visit(address + WHOLE)
    page.wait_for_selector("#marks-list li")
    page.focus("#marks-time")
    page.keyboard.press("Control+a")
    page.keyboard.type("23:15")
    page.keyboard.press("Tab")
    page.keyboard.type("A.B.")
    for _ in range(2):
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_selector("#marks-kinds [aria-pressed=true] >> text=Suction")
    for _ in range(5):
        page.keyboard.press("Tab")
    page.keyboard.type("thick secretions <b>")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.get_by_text("Written down.").wait_for()
    row = page.locator("#marks-list li", has_text="thick secretions <b>")
    row.wait_for()
    assert "23:15:00" in row.text_content()
    assert "Suction" in row.text_content()
    row.get_by_role("button", name="Change the mark of 23:15:00").press("Enter")
    page.get_by_text("Change mark 1").wait_for()
    until(page, lambda: page.evaluate("document.getElementById('marks-text').value.startsWith('thick')"))
    page.fill("#marks-text", "thin secretions")
    page.fill("#marks-author", "C.D.")
    page.get_by_role("button", name="Write down").press("Enter")
    page.locator("#marks-list li", has_text="thin secretions").wait_for()
    page.get_by_text("Earlier versions").click()
    assert page.locator("#marks-list details").get_by_text("A.B.: Suction: thick secretions <b>").is_visible()
    page.fill("#marks-words", "THIN")
    page.press("#marks-words", "Enter")
    page.get_by_text("Found: 1").wait_for()
    with open_reader(own_store) as reader:
        history = reader.mark_history(1)
        assert [(m.author, m.text, m.kind) for m in history] == [
            ("A.B.", "thick secretions <b>", "suction"), ("C.D.", "thin secretions", "suction"),
        ]  # fmt: skip
        assert history[0].utc == START + 195 * 60_000
        assert history[0].module == MODULE


def test_a_mark_without_initials_or_outside_the_night_is_refused(visit, address, own_store):
    page = visit(address + WHOLE)
    page.wait_for_selector("#marks-list li")
    page.fill("#marks-time", "25:99")
    page.get_by_role("button", name="Write down").click()
    page.get_by_text("Write the time as HH:MM").wait_for()
    page.fill("#marks-time", "23:15")
    page.get_by_role("button", name="Write down").click()
    page.get_by_text("Write your initials").wait_for()
    with open_reader(own_store) as reader:
        assert reader.marks() == []


def test_language_and_unit_are_chosen_and_kept(visit, night_address):
    page = visit(night_address + WHOLE)
    page.wait_for_selector("#marks-list li")
    page.get_by_role("button", name="Français").click()
    page.get_by_role("link", name="Maintenant").wait_for()
    assert page.evaluate("document.documentElement.lang") == "fr"
    page.get_by_role("button", name="hPa").click()
    until(page, lambda: page.evaluate("document.cookie.includes('nk_unit=hPa')"))
    page.wait_for_selector(".js-plotly-plot")
    page.get_by_text("Pression circuit, hPa").first.wait_for(state="attached")
    assert page.get_by_role("button", name="hPa").get_attribute("aria-pressed") == "true"
