"""The Now page in a browser: it moves, ages by the browser's own timer, and shows when it has stopped."""

import base64
import socket
import threading

import numpy as np
import pytest

from dashboard.pages import now
from dashboard.settings import Settings
from tests.ui.conftest import FITS, SMALL, served, until

pytestmark = pytest.mark.ui
INK = "document.getElementById('now-wave').toDataURL()"
BEAT = "document.documentElement.dataset.beat"


def opened(visit, address, *how):
    """Open Now and wait for the first answer to a question of its own."""
    page = visit(address, *how)
    page.wait_for_selector(".station")
    first = page.evaluate(BEAT)
    until(page, lambda: page.evaluate(BEAT) != first)
    return page


def samples(answer):
    """Return the times of the samples that an answer brought."""
    data = answer.json()["response"]["now-wave-data"]["data"]
    return data["t0"] + np.frombuffer(base64.b64decode(data["t"]), "<i4").astype(np.int64)


# Timers that fire as often as they can until enough was done, and what is done in which order.
HURRIED = """
const slowly = window.setInterval;
window.done = [];
window.setInterval = (action) => slowly(() => window.done.length < 8 && action(), 1);
slowly(() => {
  const dash = window.dash_clientside;
  if (!dash || !dash.nightkeel || !dash.set_props || dash.heard) return;
  dash.heard = true;
  const [wave, ask] = [dash.nightkeel.wave, dash.set_props];
  dash.nightkeel.wave = (data) => { window.done.push(["drawn", data.t.length]); return wave(data); };
  dash.set_props = (...what) => { window.done.push(["asked", 0]); return ask(...what); };
}, 1);
"""


def test_the_minutes_that_come_with_the_page_are_drawn_before_more_is_asked(visit, live_address):
    for _ in range(3):
        page = visit(live_address, before=HURRIED)
        until(page, lambda: page.evaluate("window.done.length") > 3)  # noqa: B023
        first, second = page.evaluate("window.done")[:2]
        assert first[0] == "drawn" and first[1] > 10_000, "base64 of the last five minutes"
        assert second[0] == "asked"


@pytest.mark.parametrize("theme", ["paper", "dim"])
@pytest.mark.parametrize("size", ["phone", "desk"])
def test_now_fits_and_says_what_stands(visit, live_address, size, theme):
    page = visit(live_address, size, theme)
    page.wait_for_selector(".station")
    assert page.evaluate(FITS)
    for text in ("Circuit apart or no pressure", "Purity low", "UPS in bypass", "Adult", "Ventilator"):
        assert page.get_by_text(text).first.is_visible()
    assert page.locator(".alarm").count() == 3
    assert page.locator(".alarm").first.get_by_text("High").is_visible()
    assert page.get_by_role("button", name="Pause sound").is_disabled()
    assert page.evaluate(SMALL) == []


def test_the_wave_moves_and_only_new_samples_travel(visit, live_address):
    page = opened(visit, live_address)
    answers = []

    def hear(answer):
        if "now-wave-data" in (answer.request.post_data or ""):
            answers.append(answer)

    page.on("response", hear)
    before = page.evaluate(INK)
    until(page, lambda: sum(len(samples(one)) for one in answers) > 200)
    until(page, lambda: page.evaluate(INK) != before)
    travelled = np.concatenate([samples(one) for one in answers])
    assert np.all(np.diff(travelled) == 10), "each sample travels once, and in order"


def test_a_server_slower_than_the_period_is_still_heard(visit, live_address, monkeypatch):
    """The pages drop an answer once a newer question is out: each must wait for the one before."""
    page = opened(visit, live_address)
    real, waiting = now.wave_since, threading.Event()

    def slow(*asked):
        waiting.wait(1.3)
        return real(*asked)

    monkeypatch.setattr(now, "wave_since", slow)
    for _ in range(3):
        beat = page.evaluate(BEAT)
        until(page, lambda: page.evaluate(BEAT) != beat)  # noqa: B023
    assert not page.locator(".frozen").is_visible()
    waiting.set()


def test_a_question_without_an_answer_is_asked_again(visit, live_address):
    page = opened(visit, live_address)
    lost = []
    page.route("**/_dash-update-component*", lambda route: route.continue_() if lost else lost.append(route))
    until(page, lambda: lost)
    beat = page.evaluate(BEAT)
    until(page, lambda: page.evaluate(BEAT) != beat)


def test_old_data_are_drawn_as_old(visit, growing, serve):
    address, _ = serve(Settings(store=growing.path, port=0))
    page = opened(visit, address)
    until(page, lambda: not page.locator("#now-body[data-old]").count())
    growing.stop()
    page.wait_for_selector("#now-body[data-old]")
    assert page.locator(".station .old-word").first.is_visible()
    style = "getComputedStyle(document.querySelector('.reading .value')).textDecorationLine"
    assert page.evaluate(style) == "line-through"


def free_port():
    """Return a port that nothing listens on."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return taken.getsockname()[1]


def test_a_page_whose_server_restarts_shows_it_and_comes_back(visit, growing):
    visit.expect("ERR_CONNECTION_REFUSED", "ERR_CONNECTION_RESET", "ERR_EMPTY_RESPONSE", "did not respond")
    settings = Settings(store=growing.path, port=free_port())
    with served(settings) as (address, stop):
        page = opened(visit, address)
        frozen = page.locator(".frozen")
        until(page, lambda: not frozen.is_visible())
        stop()
        until(page, frozen.is_visible)
        assert page.locator("#now-body[data-old]").count()
    with served(settings):
        until(page, lambda: not frozen.is_visible())
        until(page, lambda: not page.locator("#now-body[data-old]").count())
        page.close()


def test_a_page_whose_script_hangs_shows_it(visit, live_address):
    """The countdown is the style sheet's: no script of ours has to run for it."""
    page = opened(visit, live_address)
    ends = page.evaluate(
        """() => document.querySelector('.frozen').getAnimations()
        .map(a => [a.effect.getComputedTiming().endTime, a.effect.getComputedTiming().fill])"""
    )
    assert ends == [[6001, "forwards"]]
