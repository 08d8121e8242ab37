"""The Supply page in a browser: at a glance, sort and filter, a click to the waveform, comparison, weight."""

import os

import pytest

from dashboard.settings import Settings
from tests.support.supply_store import HOURS, START, write_supply
from tests.ui.conftest import FITS, served, until

pytestmark = pytest.mark.ui
GRID_ROW = ".ag-center-cols-container .ag-row"


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """Pages over four hours of invented supply."""
    path = write_supply(tmp_path_factory.mktemp("supply") / "supply.db")
    with served(Settings(store=path, port=0, clock=lambda: START + HOURS * 3_600_000 + 2000)) as (at, _):
        yield at


def ready(page):
    """Wait for both figures and the table."""
    page.wait_for_selector("#supply-calendar .bars .point", state="attached")
    page.wait_for_selector("#supply-plane .scatterlayer .points path", state="attached")
    page.wait_for_selector(GRID_ROW)
    return page


@pytest.mark.parametrize("theme", ["paper", "dim"])
@pytest.mark.parametrize("size", ["phone", "desk"])
def test_the_site_at_a_glance(visit, address, size, theme):
    page = ready(visit(address + "/supply", size, theme))
    text = page.inner_text("#page")
    assert "Not watched: 30 min of 4 h 00 min" in text
    assert "SIMULATED" in page.inner_text("#banner")
    assert "bounds" in page.inner_text(".glance")
    assert page.locator(GRID_ROW).count() == 5
    too_wide = page.evaluate(
        "[...document.querySelectorAll('#page *')].filter(e => !e.closest('.supply-grid')"
        " && e.getBoundingClientRect().right > innerWidth + 1).map(e => e.className || e.tagName)"
    )
    assert too_wide == []
    assert page.evaluate(FITS)
    if folder := os.environ.get("NIGHTKEEL_SHOTS"):
        page.screenshot(path=f"{folder}/supply-{size}-{theme}.png", full_page=True)


INKS = "[...document.querySelectorAll('#page .xtick text')].map(e => getComputedStyle(e).fill)"


def test_other_colours_draw_every_figure_anew(visit, address):
    page = ready(visit(address + "/supply"))
    page.locator(GRID_ROW).first.click()
    page.wait_for_selector("#supply-capture .js-plotly-plot .xtick text")
    before = set(page.evaluate(INKS))
    page.get_by_role("button", name="Dim room").click()
    until(page, lambda: not before & set(page.evaluate(INKS)), "a figure kept the other colours")


def test_the_table_sorts_and_filters(visit, address):
    page = ready(visit(address + "/supply"))
    head = page.locator(".ag-header-cell-text", has_text="length, s")
    head.click()
    head.click()
    until(page, lambda: page.inner_text(".ag-row[row-index='0'] [col-id=seconds]") == "240")
    page.locator(".ag-floating-filter input").nth(1).fill("swell")
    until(page, lambda: page.locator(GRID_ROW).count() == 1)
    assert "115" in page.inner_text(GRID_ROW)


def test_a_click_opens_the_waveform(visit, address):
    page = ready(visit(address + "/supply"))
    page.locator(f"{GRID_ROW}[row-index='0']").click()
    page.wait_for_selector("#supply-capture .bars .point", state="attached")
    assert "Waveform of the dip at 2026-03-01 00:10:00" in page.inner_text("#supply-capture")
    wave = "document.querySelector('#supply-capture .js-plotly-plot')"
    shown = page.evaluate(f"{wave}.calcdata.map(c => [c.length, Math.max(...c.map(p => p.y || 0))])")
    assert shown[0][0] == 3200
    assert shown[0][1] == pytest.approx(231 * 2**0.5, rel=0.06)
    assert shown[1][0] == 100
    bars = page.evaluate("document.querySelectorAll('#supply-capture .js-plotly-plot')[1].data[0].y[3]")
    assert bars == pytest.approx(4.0, abs=0.05)
    if folder := os.environ.get("NIGHTKEEL_SHOTS"):
        page.screenshot(path=f"{folder}/supply-capture.png", full_page=True)
    page.locator(f"{GRID_ROW}[row-index='1']").click()
    page.get_by_text("No waveform was kept of the swell").wait_for()


def test_a_period_is_compared_with_the_one_before(visit, address):
    half = HOURS * 1_800_000
    page = ready(visit(f"{address}/supply?from={START + 300_000}&to={START + half}"))
    page.get_by_text("the same time before").click()
    until(page, lambda: page.locator(".glance thead th").count() == 2)
    assert "compared" in page.inner_text(".glance")


def test_the_table_library_is_loaded_on_its_page_alone(visit, address):
    asked = []
    page = visit(address + "/night")
    page.on("request", lambda request: asked.append(request.url))
    page.wait_for_selector(".js-plotly-plot", state="attached")
    page.reload()
    page.wait_for_selector(".js-plotly-plot .scatterlayer .trace", state="attached")
    assert not any("dash_ag_grid" in url for url in asked)
    page.get_by_role("link", name="Supply").click()
    ready(page)
    assert any("dash_ag_grid" in url for url in asked)


def test_what_people_know_is_written_down_and_taken_off(visit, address):
    """Choosing an event fills its time in; the mark stands in the store as the study reads it."""
    page = ready(visit(address + "/supply", "phone"))
    page.locator(f"{GRID_ROW}[row-index='0']").click()
    until(page, lambda: page.input_value("#site-from") == "2026-03-01 00:10:00")
    page.get_by_label("equipment stopped").check()
    page.fill("#site-equipment", "pump")
    page.click("#site-time-save")
    page.get_by_text("Write your name or initials.").wait_for()
    page.fill("#site-time-who", "AB")
    page.click("#site-time-save")
    page.locator("#site-list li", has_text="equipment stopped").wait_for()
    small = page.evaluate(
        "[...document.querySelectorAll('.site-words button, .site-words .dash-input-container')].filter("
        "e => e.getBoundingClientRect().height < 43.5)"
        ".map(e => e.outerHTML)"
    )
    assert small == []
    assert page.evaluate(FITS)
    if folder := os.environ.get("NIGHTKEEL_SHOTS"):
        page.screenshot(path=f"{folder}/supply-site.png", full_page=True)
    page.get_by_role("button", name="Take off: equipment stopped").click()
    page.get_by_text("Nothing was said of this supply yet.").wait_for()
