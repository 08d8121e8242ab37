"""Signing in and out with a real browser, at both sizes and in both themes, by keyboard alone."""

import os

import pytest
from axe_playwright_python.sync_playwright import Axe

from dashboard.settings import Settings
from dashboard.users import Users, make_account
from tests.support.visitors import LOW_N, PHRASES
from tests.ui.conftest import FITS, served, until

pytestmark = pytest.mark.ui


@pytest.fixture(scope="module")
def guarded(night_store, tmp_path_factory):
    """Pages over the finished night that ask who one is."""
    users = Users(tmp_path_factory.mktemp("people") / "people")
    users.put("ward", make_account("view", PHRASES["ward"], LOW_N), new=True)
    with served(Settings(store=night_store, port=0, users=users.path)) as (address, _):
        yield address


def looked_at(page, name):
    """Nothing sticks out, every target is large enough, and axe-core has no finding."""
    assert page.evaluate(FITS)
    small = page.evaluate(
        "[...document.querySelectorAll('main a, main button, main input:not([type=hidden])')]"
        ".filter(e => e.getBoundingClientRect().height < 44).map(e => e.outerHTML)"
    )
    assert small == []
    found = Axe().run(page).response["violations"]
    assert [(one["id"], one["nodes"][0]["html"]) for one in found] == []
    if folder := os.environ.get("NIGHTKEEL_SHOTS"):
        page.screenshot(path=f"{folder}/{name}.png", full_page=True)


@pytest.mark.parametrize(("size", "theme"), [("phone", "dim"), ("desk", "paper")])
def test_a_person_signs_in_reads_and_signs_out_by_keyboard(visit, guarded, size, theme):
    visit.expect("401")
    page = visit(guarded + "/night", size, theme)
    assert page.url.startswith(guarded + "/login?next=")
    scheme = page.evaluate("getComputedStyle(document.documentElement).colorScheme")
    assert scheme == {"dim": "dark", "paper": "light"}[theme]
    looked_at(page, f"login-{size}")
    # The name has the keyboard's focus; a wrong passphrase says so, and not which half was wrong.
    page.keyboard.type("ward")
    page.keyboard.press("Tab")
    page.keyboard.type("not this one at all")
    page.keyboard.press("Enter")
    page.get_by_role("alert").wait_for()
    assert page.input_value("#passphrase") == ""
    page.keyboard.type("ward")
    page.keyboard.press("Tab")
    page.keyboard.type(PHRASES["ward"])
    page.keyboard.press("Enter")
    until(page, lambda: page.url.startswith(guarded + "/night"))
    page.wait_for_selector("#page h1", state="attached")
    page.goto(guarded + "/account")
    assert "ward" in page.inner_text("main")
    looked_at(page, f"account-{size}")
    page.locator("main button[type=submit]").press("Enter")
    until(page, lambda: "/login" in page.url)
    page.goto(guarded + "/night")
    assert "/login" in page.url
