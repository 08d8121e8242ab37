"""The Now page in a browser: it moves, ages by the browser's own timer, and shows when it has stopped."""

import pytest

from dashboard.settings import Settings
from tests.ui.conftest import served

pytestmark = pytest.mark.ui
INK = "document.getElementById('now-wave').toDataURL()"


@pytest.mark.parametrize("theme", ["paper", "dim"])
@pytest.mark.parametrize("size", ["phone", "desk"])
def test_now_fits_and_says_what_stands(visit, growing, size, theme):
    with served(Settings(store=growing.path, port=0)) as (address, _):
        page = visit(address, size, theme)
        page.wait_for_selector(".station")
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        for text in ("Circuit apart or no pressure", "Purity low", "UPS in bypass", "Adult", "Ventilator"):
            assert page.get_by_text(text).first.is_visible()
        assert page.locator(".alarm").count() == 3
        assert page.locator(".alarm").first.get_by_text("High").is_visible()
        assert page.get_by_role("button", name="Pause sound").is_disabled()
        small = page.evaluate(
            """() => [...document.querySelectorAll('a, button')].filter(e => e.offsetParent !== null
            && !e.classList.contains('skip')).map(e => e.getBoundingClientRect())
            .filter(r => r.width < 44 || r.height < 44).length"""
        )
        assert small == 0


def test_the_wave_moves_and_only_new_samples_travel(visit, growing):
    with served(Settings(store=growing.path, port=0)) as (address, _):
        page = visit(address)
        page.wait_for_selector(".station")
        page.wait_for_timeout(1500)
        sizes = []
        page.on("response", lambda r: sizes.append(len(r.body())) if "update-component" in r.url else None)
        before = page.evaluate(INK)
        page.wait_for_timeout(3500)
        assert page.evaluate(INK) != before
        assert sizes
        assert max(sizes) < 20_000, "five minutes of samples must not travel again"


def test_old_data_are_drawn_as_old(visit, growing):
    with served(Settings(store=growing.path, port=0)) as (address, _):
        page = visit(address)
        page.wait_for_selector(".station")
        page.wait_for_timeout(1500)
        assert not page.locator("#now-body[data-old]").count()
        growing.stop()
        page.wait_for_selector("#now-body[data-old]", timeout=12_000)
        assert page.locator(".station .old-word").first.is_visible()
        style = "getComputedStyle(document.querySelector('.reading .value')).textDecorationLine"
        assert page.evaluate(style) == "line-through"


def test_a_page_without_an_answer_shows_it(visit, growing):
    with served(Settings(store=growing.path, port=0)) as (address, _):
        page = visit(address)
        page.wait_for_selector(".station")
        page.wait_for_timeout(2500)
        frozen = page.locator(".frozen")
        assert not frozen.is_visible()
        page.route("**/_dash-update-component*", lambda route: None)  # never answered
        page.wait_for_timeout(9000)
        assert frozen.is_visible()
        assert page.locator("#now-body[data-old]").count()


def test_a_page_whose_script_hangs_shows_it(visit, growing):
    """The countdown is the style sheet's: no script of ours has to run for it."""
    with served(Settings(store=growing.path, port=0)) as (address, _):
        page = visit(address)
        page.wait_for_selector(".station")
        page.wait_for_timeout(2500)
        ends = page.evaluate(
            """() => document.querySelector('.frozen').getAnimations()
            .map(a => [a.effect.getComputedTiming().endTime, a.effect.getComputedTiming().fill])"""
        )
        assert ends == [[6001, "forwards"]]
