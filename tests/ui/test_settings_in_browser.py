"""The Settings page in a browser: it fits a phone, is worked by keyboard, compares as one types."""

import pytest

from tests.ui.conftest import FITS

pytestmark = pytest.mark.ui


def opened(visit, address, size="desk"):
    page = visit(address + "/settings", size)
    page.get_by_text("Nothing is changed yet.").wait_for()
    return page


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_settings_fit_and_are_large_enough_to_press(visit, night_address, size):
    page = opened(visit, night_address, size)
    for group in page.locator("summary").all()[1:]:
        group.click()
    assert page.evaluate(FITS)
    small = page.evaluate(
        """() => [...document.querySelectorAll('a, button, summary, .page-settings label, input')]
        .filter(e => !e.matches('.field label'))
        .filter(e => e.closest('main') && e.type !== 'radio')
        .filter(e => e.offsetParent !== null).map(e => [e.outerHTML.slice(0, 90), e.getBoundingClientRect()])
        .filter(([_, r]) => r.width < 44 || r.height < 44).map(([text, _]) => text)"""
    )
    assert small == []


def test_a_change_is_compared_as_it_is_typed_and_refused_with_the_reason(visit, night_address):
    page = opened(visit, night_address)
    high = page.get_by_label("High pressure limit")
    send = page.get_by_role("button", name="Send to the module")
    high.fill("36")
    page.get_by_text("High pressure limit: 35 → 36 cmH2O").wait_for()
    assert send.is_enabled()
    high.fill("90")
    page.get_by_text("High pressure limit must lie between 10 and 80 cmH2O.").wait_for()
    assert send.is_disabled()
    high.fill("8")
    page.get_by_label("Low peak pressure limit").focus()
    page.get_by_text("must lie between").wait_for()
    high.fill("35")
    page.get_by_text("Nothing is changed yet.").wait_for()
    page.get_by_label("Child", exact=True).check()
    page.get_by_text("High pressure limit: 35 → 30 cmH2O").wait_for()
    page.get_by_label("Infant", exact=True).check()
    page.get_by_text("No site has supplied infant limits").wait_for()
    assert send.is_disabled()


def test_by_keyboard_to_an_answer(visit, night_address):
    page = opened(visit, night_address)
    page.get_by_label("High pressure limit").focus()
    page.keyboard.press("Control+A")
    page.keyboard.type("36")
    page.get_by_text("35 → 36").wait_for()
    page.get_by_label("Initials").focus()
    page.keyboard.type("A. B.")
    page.keyboard.press("Tab")
    page.keyboard.type("test")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.get_by_text("Not sent: No daemon answers for this store").wait_for()
