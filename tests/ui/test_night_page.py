"""The Night page in a browser: whole night to single breath, by mouse, by keyboard, at both widths."""

import base64
import struct
from urllib.parse import parse_qs, urlsplit

import pytest

from tests.support.night_store import APART, IMPURE
from tests.ui.conftest import FITS, SMALL, START, WHOLE, until

pytestmark = pytest.mark.ui
PLOT = ".js-plotly-plot .scatterlayer .trace"
WINDOW = "document.querySelector('.js-plotly-plot').layout.xaxis.range"


def minute(m):
    return START + round(m * 60_000)


def ready(page):
    """Wait for the plot to be drawn."""
    page.wait_for_selector(PLOT, state="attached")
    return page


def moved(page, act):
    """Act, and wait until the server has answered with another window; return that window."""
    closer = page.get_by_role("link", name="Closer")
    before = closer.get_attribute("href")
    act()
    until(page, lambda: closer.get_attribute("href") != before)
    return settled(page)


def settled(page):
    """Wait until the plot shows the window of the address; return it."""

    def shown():
        asked = parse_qs(urlsplit(page.url).query)
        window = page.evaluate(WINDOW)
        return window if near(window, int(asked["from"][0]), int(asked["to"][0]), 1) else None

    return until(page, shown)


def near(window, low, high, within=1000):
    """Tell whether a window is where it should be."""
    return abs(window[0] - low) <= within and abs(window[1] - high) <= within


def thirds(window):
    """Return the middle third of a window."""
    middle, half = sum(window) / 2, (window[1] - window[0]) / 6
    return middle - half, middle + half


def test_the_server_works_while_the_scripts_are_read(visit, night_address):
    """The pages' own scripts ask for the layout late; it is asked for before they are there, and once."""
    page = visit("about:blank")
    asked, held = [], []
    page.on("request", lambda request: asked.append(urlsplit(request.url).path))
    page.route("**/dash_renderer*", lambda route: held.append(route))
    page.goto(night_address + WHOLE, wait_until="commit")
    until(page, lambda: held and {"/_dash-layout", "/_dash-dependencies"} <= set(asked))
    held[0].continue_()
    ready(page)
    assert asked.count("/_dash-layout") == asked.count("/_dash-dependencies") == 1


@pytest.mark.parametrize("theme", ["paper", "dim"])
@pytest.mark.parametrize("size", ["phone", "desk"])
def test_the_night_fits_and_says_so(visit, night_address, size, theme):
    page = ready(visit(night_address + WHOLE, size, theme))
    assert page.evaluate("document.documentElement.dataset.theme") == theme
    assert page.evaluate(FITS)
    assert page.get_by_text("12 min of this window went unrecorded.").is_visible()
    assert page.get_by_text("SIMULATED.", exact=False).first.is_visible()
    drawn = page.evaluate("document.querySelector('.js-plotly-plot').data.map(t => t.yaxis)")
    assert {"y2", "y3", "y4", "y5", "y6", "y7", "y8"} <= set(drawn)


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_everything_one_presses_is_large_enough(visit, night_address, size):
    page = ready(visit(night_address + WHOLE, size))
    assert page.evaluate(SMALL) == []


def test_from_the_night_to_one_breath(visit, night_address):
    page = ready(visit(night_address + WHOLE))
    box = page.locator(".js-plotly-plot .nsewdrag").nth(1).bounding_box()
    y = box["y"] + box["height"] / 2

    def drag():
        page.mouse.move(box["x"] + box["width"] * 0.2, y)
        page.mouse.down()
        page.mouse.move(box["x"] + box["width"] * 0.25, y, steps=6)
        page.mouse.up()

    window = moved(page, drag)
    assert near(window, minute(96), minute(120), within=240_000)
    for _ in range(5):
        before = window
        window = moved(page, page.get_by_role("link", name="Closer").click)
        assert near(window, *thirds(before))
    assert window[1] - window[0] < 8000
    wave = page.evaluate(
        "document.querySelector('.js-plotly-plot').data.find(t => t.meta && t.meta[0] === 'waveform').y"
    )
    count = len(base64.b64decode(wave["bdata"])) // struct.calcsize("f")
    assert count == pytest.approx((window[1] - window[0]) / 10, abs=2), "every sample is drawn"
    assert near(moved(page, page.go_back), *before)


def test_an_alarm_in_the_list_leads_to_its_place(visit, night_address):
    page = ready(visit(night_address + WHOLE))
    low, high = moved(page, page.get_by_title("Show Circuit apart or no pressure at 01:30:10").click)
    assert low < minute(APART[0]) < minute(APART[1]) < high
    assert high - low < 300_000


# Where the middle of the bar is whose alarm began at a given time.
PLACE = """([name, start]) => {
  const plot = document.querySelector('.js-plotly-plot'), layout = plot._fullLayout;
  const box = plot.getBoundingClientRect();
  const bars = plot.data.find(d => d.type === 'bar' && d.name === name);
  const i = bars.customdata.findIndex(c => Math.abs(c[0] - start) < 60000);
  const [low, high] = bars.customdata[i];
  return {
    x: box.left + layout.xaxis._offset + layout.xaxis.l2p((low + high) / 2),
    y: box.top + layout.yaxis7._offset + layout.yaxis7.l2p(bars.y[i]),
    low, high,
  };
}"""


def still(page, look):
    """Return what is looked at once it has stopped moving."""
    seen = [look()]

    def same():
        seen.append(look())
        return seen[-1] == seen[-2]

    until(page, same)
    return seen[-1]


def point_at(page, x, y):
    """Point at a place until the plot has noticed; return what is read there.

    The plot notices in its own time, and before that a click means nothing to it.
    """
    steps = iter(range(100_000))

    def said():
        page.mouse.move(x + next(steps) % 2, y)
        text = page.locator("#night-readout").text_content()
        return text if text[:4].isdigit() else None

    return until(page, said)


def test_an_alarm_in_its_lane_leads_to_its_place(visit, night_address):
    page = ready(visit(night_address + WHOLE))
    page.mouse.wheel(0, 300)
    until(page, lambda: page.evaluate("window.scrollY > 0"))
    bar = still(page, lambda: page.evaluate(PLACE, ["Medium", minute(IMPURE[0])]))
    point_at(page, bar["x"], bar["y"])

    def click():
        page.mouse.click(bar["x"], bar["y"])

    room = (bar["high"] - bar["low"]) / 2
    assert near(moved(page, click), bar["low"] - room, bar["high"] + room)


def test_by_keyboard_alone(visit, night_address):
    page = ready(visit(night_address + WHOLE))
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    assert page.locator(".skip").bounding_box()["x"] >= 0
    seen = []
    for _ in range(40):
        page.keyboard.press("Tab")
        seen.append(page.evaluate("document.activeElement.textContent"))
        if seen[-1] == "Closer":
            break
    for name in ("Now", "Night", "Paper", "Dim room", "Whole night", "Earlier", "Later", "Closer"):
        assert name in seen
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
    assert float(outline.removesuffix("px")) >= 2
    whole = page.evaluate(WINDOW)
    assert near(moved(page, lambda: page.keyboard.press("Enter")), *thirds(whole))


def test_the_light_of_the_page_is_kept(visit, night_address):
    page = ready(visit(night_address + WHOLE))
    page.get_by_role("button", name="Dim room").click()
    font = "document.querySelector('.js-plotly-plot').layout.font.color"
    until(page, lambda: page.evaluate(font) == "#D9A77A")
    page.reload()
    ready(page)
    assert page.evaluate("document.documentElement.dataset.theme") == "dim"


def test_times_are_those_of_the_browser(visit, night_address):
    page = ready(visit(night_address + WHOLE, timezone_id="Asia/Tehran"))
    title = page.evaluate("document.querySelector('.js-plotly-plot').layout.xaxis.title.text")
    assert title == "time, Asia/Tehran (UTC+03:30)"
    assert page.get_by_role("link", name="05:00:10").count() == 1


def test_a_reading_under_the_pointer_is_said(visit, night_address):
    page = ready(visit(night_address + WHOLE))
    box = page.locator(".js-plotly-plot .nsewdrag").nth(1).bounding_box()
    text = point_at(page, box["x"] + box["width"] * 0.6, box["y"] + box["height"] / 2)
    for part in ("2026-03-01", "before the UPS 2", "purity 93.", "thick: peak ", "breaths a minute 1"):
        assert part in text
