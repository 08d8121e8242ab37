"""The pages: server time of the first figure, a year against a night, the live page, the browser.

Server figures are processor time of this process, which other work on the machine doesn't change; browser
figures are wall time from navigation with a cold cache, so they count on an idle machine only.
"""

import shutil
import sqlite3
import tempfile
import threading
import time
from pathlib import Path
from zoneinfo import ZoneInfo

from dashboard.links import Place, address
from dashboard.pages import night, now
from dashboard.serve import listen
from dashboard.settings import Settings
from dashboard.texts import Words
from dashboard.view import View
from tests.support.night_store import write_night

START = 1_772_308_800_000
HOUR, DAY = 3_600_000, 86_400_000
BROWSER = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
DRAWN = """() => new Promise(done => {
  const look = () => document.querySelector('.js-plotly-plot .scatterlayer .trace')
    ? done(performance.now()) : setTimeout(look, 5);
  look();
})"""
ZOOM = """() => new Promise(done => {
  const plot = document.querySelector('.js-plotly-plot'), begun = performance.now();
  plot.once('plotly_afterplot', () => done(performance.now() - begun));
  [...document.querySelectorAll('.moves a')].find(a => a.textContent === 'Closer').click();
})"""


def rows(quick):
    """Yield the figures of a night of 12 h (quick: 2 h)."""
    hours = 2 if quick else 12
    with tempfile.TemporaryDirectory() as folder:
        path = write_night(Path(folder) / "night.db", START, hours)
        end = START + hours * HOUR
        settings = Settings(store=path, port=0, clock=lambda: end + 1000)
        view = View(words=Words(), zone=ZoneInfo("UTC"), theme="paper", width=1280, now=end + 1000)
        one = processor_ms(lambda: figure(settings, view, START, end), 5)
        yield f"Night, first figure of {hours} h, server", one, "ms cpu", "under 150"
        year = processor_ms(year_figure(Path(folder) / "year.db", view), 5)
        name = f"Night, figure of a year, server, {year / one:.1f} times a night's"
        yield name, year, "ms cpu", "at most 10 times"
        poll = processor_ms(lambda: now.answer(settings, view, "", end - 1010), 20)
        yield "Now, one poll a second, server (without HTTP)", poll / 10, "% of a core", "under 5"
        yield from browser_rows(settings, view, start=START, end=end)


def figure(settings, view, start, end):
    """Make the first figure with its texts and lists, as the server sends it."""
    from dash._utils import to_json

    return to_json(night.answer(settings, view, address("", Place(window=(start, end)))))


def processor_ms(call, times):
    """Return the best processor time of several calls in ms."""
    best = float("inf")
    for _ in range(times):
        begun = time.process_time()
        call()
        best = min(best, time.process_time() - begun)
    return best * 1000


def year_figure(path, view):
    """Return a call that draws a year.

    Its seconds aren't written: a year is drawn from roll-ups of days, and those are there, as are the runs,
    bands and the breaths of its last hour.
    """
    write_night(path, START, 1)
    stretch_to_a_year(path)
    end = START + HOUR
    settings = Settings(store=path, clock=lambda: end)
    return lambda: figure(settings, view, end - 365 * DAY, end)


def stretch_to_a_year(path):
    """Move the only hour of a store to the end of a year of which nothing but roll-ups and one run exist."""
    ahead = 364 * DAY
    with sqlite3.connect(path) as connection:
        connection.execute(f"UPDATE boot SET utc0 = utc0 - {ahead}, last_tick = last_tick + {ahead}")
        for table in ("trend", "pressure_wave", "breath", "settings", "alarm"):
            connection.execute(f"UPDATE {table} SET tick = tick + {ahead}")
        connection.execute(f"UPDATE run SET last_tick = last_tick + {ahead}")
        for table, width in (("rollup_minute", 60_000), ("rollup_hour", HOUR), ("rollup_day", DAY)):
            names = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
            listed = ", ".join(names[1:])
            count = ahead // width
            connection.execute(f"UPDATE {table} SET id = -id - {count}")
            connection.execute(f"UPDATE {table} SET id = -id")
            connection.execute(
                f"WITH RECURSIVE k(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM k WHERE i < {count} - 1) "
                f"INSERT INTO {table} (id, {listed}) SELECT (1 << 32) + i, {listed} FROM k, "
                f"(SELECT * FROM {table} ORDER BY id LIMIT 1)"
            )
    connection.close()


def stock_page(settings, view, start, end):
    """Return a server of the same figure in a page of stock Dash: plotly's whole bundle, no more."""
    import dash
    import waitress

    drawn = night.answer(settings, view, address("", Place(window=(start, end))))[0]
    app = dash.Dash("stock")
    app.layout = dash.html.Div(dash.dcc.Graph(figure=drawn))
    return waitress.create_server(app.server, host="127.0.0.1", port=0)


def browser_rows(settings, view, start, end):
    """Open Night in Chromium with a cold cache, then look closer down to a breath."""
    chromium = shutil.which("chromium")
    if chromium is None:
        return
    from playwright.sync_api import sync_playwright

    server, stock = listen(settings), stock_page(settings, view, start, end)
    for each in (server, stock):
        threading.Thread(target=serve_until_closed, args=(each,), daemon=True).start()
    place = f"http://127.0.0.1:{server.effective_port}/night"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=BROWSER)
        first = first_plot_ms(browser, place)
        other = first_plot_ms(browser, f"http://127.0.0.1:{stock.effective_port}/")
        name = "Night, first plot in Chromium, cold cache, against the same figure in stock Dash"
        yield name, first, "ms", "under 1500", other / first
        middle = (start + end) // 2
        near = f"{place}?from={middle}&to={middle + 15_000}"
        yield "Night, from 15 s to one breath in the browser", zoom_ms(browser, near), "ms", "under 300"
        browser.close()
    server.close()
    stock.close()


def serve_until_closed(server):
    """Run a server; closed from outside it ends with the descriptor it was waiting on."""
    try:
        server.run()
    except OSError:
        return


def first_plot_ms(browser, place):
    """Return the best of three cold starts, from navigation to the first curve, in ms."""
    found = []
    for _ in range(3):
        context = browser.new_context(viewport={"width": 1280, "height": 800}, bypass_csp=True)
        page = context.new_page()
        page.goto(place, wait_until="commit")
        found.append(page.evaluate(DRAWN))
        context.close()
    return min(found)


def zoom_ms(browser, place):
    """Return the best of three steps closer, from the press to the drawn plot, in ms."""
    found = []
    context = browser.new_context(viewport={"width": 1280, "height": 800}, bypass_csp=True)
    page = context.new_page()
    for _ in range(3):
        page.goto(place)
        page.evaluate(DRAWN)
        page.wait_for_timeout(700)
        found.append(page.evaluate(ZOOM))
    context.close()
    return min(found)
