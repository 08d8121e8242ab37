"""A real browser on real pages: served by the real server over a finished and over a growing store."""

import shutil
import threading
import time
from contextlib import contextmanager, suppress

import pytest

from dashboard.serve import listen
from dashboard.settings import Settings
from tests.support.night_store import Night, tell, write_night

START = 1_772_308_800_000  # 2026-02-28 20:00 UTC
HOURS = 8
LIVE_HOURS = 0.25
ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
OWN = ("http://127.0.0.1:", "data:", "blob:")
SIZES = {"phone": {"width": 360, "height": 740}, "desk": {"width": 1280, "height": 800}}
SCHEMES = {"paper": "light", "dim": "dark"}


@pytest.fixture(scope="session")
def browser():
    """Debian's Chromium; the tests that need it say what is missing."""
    path = shutil.which("chromium")
    if path is None:
        pytest.fail("chromium is missing; install it: apt-get install chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield chromium
        chromium.close()


@contextmanager
def served(settings):
    """Serve pages on a free port; yield their address and a way to stop them early."""
    server = listen(settings)

    def run():
        # Closed from outside, its loop ends with the descriptor it was waiting on.
        with suppress(OSError):
            server.run()

    thread = threading.Thread(target=run, daemon=True)
    thread.start()

    def stop():
        server.close()
        server.task_dispatcher.shutdown()
        thread.join(5)

    yield f"http://127.0.0.1:{server.effective_port}", stop
    stop()


@pytest.fixture(scope="session")
def night_store(tmp_path_factory):
    """Eight hours that hold every part of the story once."""
    return write_night(tmp_path_factory.mktemp("night") / "night.db", START, HOURS)


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
        self._thread.join(10)


@pytest.fixture
def growing(tmp_path):
    """A store that grows while the test looks."""
    grown = Growing(tmp_path / "live.db")
    yield grown
    grown.stop()


def is_complaint(message):
    """Tell whether the browser found fault; a server that the test itself ended is none."""
    return message.type in ("error", "warning") and "ERR_CONNECTION_REFUSED" not in message.text


@pytest.fixture
def visit(browser):
    """Open pages in a fresh browser context; whatever the browser complains of fails the test."""
    contexts, complaints = [], []

    def opened(address, size="desk", theme="paper", **options):
        context = browser.new_context(
            viewport=SIZES[size], color_scheme=SCHEMES[theme], **{"timezone_id": "UTC"} | options
        )
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda m: complaints.append(m.text) if is_complaint(m) else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("request", lambda r: None if r.url.startswith(OWN) else complaints.append(r.url))
        page.goto(address)
        return page

    opened.complaints = complaints
    yield opened
    for context in contexts:
        context.close()
    assert complaints == []
