"""A real browser on real pages: served by the real server over a finished and over a growing store.

Nothing waits for a fixed time: tests wait for what must come, and give a loaded machine 30 seconds for it.
"""

import shutil
import threading
import time
from contextlib import contextmanager

import pytest
from waitress import wasyncore

from dashboard.serve import listen
from dashboard.settings import Settings
from tests.support.night_store import Night, tell, write_night
from tests.support.shared import once

START = 1_772_308_800_000  # 2026-02-28 20:00 UTC
HOURS = 8
WHOLE = f"/night?from={START}&to={START + HOURS * 3_600_000}"
LIVE_HOURS = 0.25
PATIENCE_S = 30
ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
OWN = ("http://127.0.0.1:", "data:", "blob:")
SIZES = {"phone": {"width": 360, "height": 740}, "desk": {"width": 1280, "height": 800}}
SCHEMES = {"paper": "light", "dim": "dark"}
# Whatever one presses; what is hidden, or stands inside something larger that one presses, is not.
SMALL = """() => [...document.querySelectorAll('a, button, summary, input[type=text], textarea')]
  .filter(e => e.offsetParent !== null && !e.classList.contains('skip'))
  .map(e => [e.textContent || e.id, e.getBoundingClientRect()])
  .filter(([, r]) => r.width < 44 || r.height < 44).map(([t, r]) => `${t} ${r.width}x${r.height}`)"""
FITS = "document.documentElement.scrollWidth <= window.innerWidth"


def until(page, true, what="it did not come about"):
    """Wait for a condition; the pages allow no script from a string, so the question is asked from here."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        if found := true():
            return found
        page.wait_for_timeout(50)
    raise AssertionError(what)


def press(page, name):
    """Press the button of this whole name, or matching it, by keyboard, as one without a mouse does."""
    page.get_by_role("button", name=name, exact=True).press("Enter")


def in_sight(page, locator):
    """Tell whether something stands in the window, and not under the bar at its foot."""
    box, window = locator.bounding_box(), page.viewport_size
    bar = page.locator(".nav").bounding_box()
    foot = bar["y"] if bar["y"] > window["height"] / 2 else window["height"]
    return box["y"] >= 0 and box["y"] + box["height"] <= foot


@pytest.fixture(scope="session")
def browser():
    """Debian's Chromium; the tests that need it say what is missing."""
    path = shutil.which("chromium")
    if path is None:
        pytest.fail("chromium is missing; install it: apt-get install chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=path, args=ARGUMENTS, timeout=90_000)
        yield chromium
        chromium.close()


@contextmanager
def served(settings):
    """Serve pages on a free port; yield their address and a way to stop them early."""
    server = listen(settings)

    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()

    def leave():
        # A channel that is closed like any socket would leave the file open that a large answer waited in.
        for channel in list(server.active_channels.values()):
            channel.handle_close()
        wasyncore.close_all(server._map, ignore_all=True)

    def stop():
        if not thread.is_alive():
            return
        # Work under way is finished first; then its own loop closes what a browser keeps open.
        server.task_dispatcher.shutdown(timeout=PATIENCE_S)
        server.trigger.pull_trigger(leave)
        thread.join(PATIENCE_S)
        assert not thread.is_alive()

    yield f"http://127.0.0.1:{server.effective_port}", stop
    stop()


@pytest.fixture
def serve():
    """Serve settings until the test has ended and the browser has left."""
    running = []

    def started(settings):
        held = served(settings)
        running.append(held)
        return held.__enter__()

    yield started
    for held in running:
        held.__exit__(None, None, None)


@pytest.fixture(scope="session")
def night_store(tmp_path_factory):
    """Eight hours that hold every part of the story once; only to be read."""
    return once(tmp_path_factory, "eight-hours.db", lambda path: write_night(path, START, HOURS))


@pytest.fixture(scope="session")
def night_address(night_store):
    """Pages over the finished night."""
    clock = START + HOURS * 3_600_000 + 2000
    with served(Settings(store=night_store, port=0, clock=lambda: clock)) as (address, _):
        yield address


class Growing:
    """A store to which one second is added each second, until `stop`. One thread does all the writing."""

    def __init__(self, path):
        self.path = path
        self._halt, self._ready = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._grow, daemon=True)
        self._thread.start()
        assert self._ready.wait(60)

    def _grow(self):
        now = time.time_ns() // 1_000_000
        night = Night(self.path, now - round(LIVE_HOURS * 3_600_000))
        tell(night, LIVE_HOURS)
        for name in ("disconnected", "purity_low", "bypass"):
            night.alarm(name, night.tick / 60_000, "raised", None, None)
        night.commit()
        while not self._halt.is_set():
            due = (time.time_ns() // 1_000_000 - night.utc0) // 1000
            while night.tick < due * 1000:
                night.second(night.tick + 1000, night.tick / 60_000)
            if night.records:
                night.commit()
            self._ready.set()
            self._halt.wait(0.2)
        night.close()

    def stop(self):
        """Let nothing more come."""
        self._halt.set()
        self._thread.join(PATIENCE_S)


@pytest.fixture
def growing(tmp_path):
    """A store that grows while the test looks, of the test's own."""
    grown = Growing(tmp_path / "live.db")
    yield grown
    grown.stop()


@pytest.fixture(scope="session")
def live_address(tmp_path_factory):
    """Pages over a store that grows, for all the tests that only look."""
    grown = Growing(tmp_path_factory.mktemp("live") / "live.db")
    with served(Settings(store=grown.path, port=0)) as (address, _):
        yield address
    grown.stop()


class Visits:
    """Open pages, and keep what the browser complains of. A window is kept for the visits that fit it."""

    def __init__(self, browser):
        self._browser = browser
        self._context, self._own, self._pages = browser.new_context(timezone_id="UTC"), [], []
        self._heard, self._expected = [], ()

    def __call__(self, address, size="desk", theme="paper", before="", **options):
        """Open an address in a window without a past, with a script that runs before the page's own.

        `options` are those of a browser context.
        """
        self._context.clear_cookies()
        context = self._context
        if options:
            context = self._browser.new_context(**{"timezone_id": "UTC"} | options)
            self._own.append(context)
        page = context.new_page()
        self._pages.append(page)
        page.set_viewport_size(SIZES[size])
        page.emulate_media(color_scheme=SCHEMES[theme])
        page.on("console", lambda m: self._hear(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: self._hear(str(error)))
        page.on("request", lambda r: None if r.url.startswith(OWN) else self._hear(r.url))
        if before:
            page.add_init_script(before)
        page.goto(address)
        return page

    def expect(self, *parts):
        """Bear complaints that hold one of these texts: the test brings them about itself."""
        self._expected = parts

    def _hear(self, text):
        if not any(part in text for part in self._expected):
            self._heard.append(text)

    def leave(self):
        """Close all pages; return the complaints. What a page says as it is closed is none."""
        for page in self._pages:
            if not page.is_closed():
                page.evaluate("0")  # what was said until now is heard
        heard, self._heard = self._heard, []
        for place in (*self._pages, *self._own):
            place.close()
        self._pages, self._own, self._heard, self._expected = [], [], [], ()
        return heard

    def end(self):
        """Close the kept window."""
        self._context.close()


@pytest.fixture(scope="session")
def visits(browser):
    """One browser window for all tests of a worker: what it has loaded once it needn't load again."""
    opened = Visits(browser)
    yield opened
    opened.end()


@pytest.fixture
def visit(visits, serve):
    """Open pages; whatever the browser complains of fails the test. Pages close before their server does."""
    yield visits
    assert visits.leave() == []
