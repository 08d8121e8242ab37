"""What holds for every page: no finding of an independent checker, and a way there from every other page."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from dashboard import app
from tests.ui.conftest import FITS, SMALL, WHOLE, until

pytestmark = pytest.mark.ui
PATHS = [path for path, _, _ in app.PAGES if path != "/night"] + [WHOLE]
LATER = {WHOLE: "#night-words .load"}
WAYS = (("phone", "dim"), ("desk", "paper"))
FOCUSED = "document.activeElement.textContent"
# What of the navigation one sees, and what of that lies beyond the window's edges.
BESIDE = """[...document.querySelectorAll('.nav a, .nav-more')].filter(e => e.offsetParent !== null)
  .map(e => [e.textContent, e.getBoundingClientRect()])
  .filter(([, r]) => r.left < 0 || r.right > innerWidth || r.bottom > innerHeight).map(([t]) => t)"""


@pytest.mark.parametrize("path", PATHS)
def test_no_finding_of_axe(visit, night_address, path):
    """axe-core, the accessibility checker of an independent project: not even a minor finding."""
    found = []
    for size, theme in WAYS:
        page = visit(night_address + path, size, theme, bypass_csp=True)
        page.wait_for_selector(LATER.get(path, "main h1, main h2"))
        for one in Axe().run(page).response["violations"]:
            nodes = [n["html"][:160] for n in one["nodes"]]
            found.append((size, theme, one["impact"], one["id"], nodes[:3]))
    assert found == []


@pytest.mark.parametrize(("size", "theme"), WAYS)
def test_an_open_list_has_the_pages_colours(visit, night_address, size, theme):
    """The list of the component library opens in a box of its own, which is white unless it is told."""
    page = visit(night_address + "/rehearsal", size, theme)
    page.locator(".dash-dropdown").press("Enter")
    shown = page.locator(".dash-dropdown-content")
    shown.wait_for()
    colour = "e => getComputedStyle(e).backgroundColor"
    box, around = shown.evaluate(colour), page.locator("html").evaluate(colour)
    assert box == around
    ink = "e => getComputedStyle(e).color"
    option = shown.locator(".dash-options-list-option").first
    assert option.evaluate(ink) == page.locator("body").evaluate(ink)


@pytest.fixture
def nine_pages(monkeypatch):
    """Nine pages, as many as the navigation is made for: those there are, and copies under long names."""
    spare = [(f"/spare{n}", "nav.rehearsal", app.PAGES[-1][2]) for n in range(9 - len(app.PAGES))]
    monkeypatch.setattr(app, "PAGES", (*app.PAGES, *spare))
    return app.PAGES


@pytest.mark.parametrize(("language", "more"), [("en", "More"), ("fr", "Autres")])
def test_nine_pages_are_reached_on_a_phone_by_keyboard(visit, night_address, nine_pages, language, more):
    page = visit(night_address, "phone", "dim")
    page.context.add_cookies([{"name": "nk_lang", "value": language, "url": night_address}])
    page.reload()
    page.get_by_role("button", name=more, exact=True).focus()
    assert page.evaluate(BESIDE) == []
    assert page.locator(".nav a:visible").count() == len(app.BEDSIDE)
    page.keyboard.press("Enter")
    assert page.locator(".nav a:visible").count() == len(nine_pages)
    assert page.evaluate(BESIDE) == []
    assert page.evaluate(SMALL) == []
    page.keyboard.press("Tab")
    page.keyboard.press("Escape")
    assert page.evaluate(FOCUSED) == more, "closing gives the focus back to what opened it"
    assert page.locator(".nav a:visible").count() == len(app.BEDSIDE)
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    to = page.evaluate("document.activeElement.getAttribute('href')")
    page.keyboard.press("Enter")
    page.wait_for_url(f"**{to}")
    until(page, lambda: page.locator(".nav-more.holds-current").count())
    assert page.locator(".nav a:visible").count() == len(app.BEDSIDE)


@pytest.mark.parametrize(("language", "rows"), [("en", 1), ("fr", 2)])
def test_nine_pages_all_stand_on_a_desk(visit, night_address, nine_pages, language, rows):
    page = visit(night_address, "desk")
    page.context.add_cookies([{"name": "nk_lang", "value": language, "url": night_address}])
    page.reload()
    page.wait_for_selector("main h2")
    assert page.evaluate(FITS)
    assert page.locator(".nav a:visible").count() == len(nine_pages)
    assert page.locator(".nav").bounding_box()["height"] < 50 * rows
