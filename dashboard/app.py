"""The pages as a Dash application: shell, routes, security. `create_app` is all that others need."""

from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

import dash
from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate
from flask import request

from dashboard import ids
from dashboard.access import install
from dashboard.components import attributes, notice
from dashboard.formats import offset
from dashboard.links import Place, address, parse
from dashboard.pages import bench, case, choices, night, now, reasons, rehearsal, reserves, setup, supply
from dashboard.pages import settings as settings_page
from dashboard.queries import choose_module, reading
from dashboard.reports.case_route import serve_handovers
from dashboard.reports.sheet_route import serve_sheets
from dashboard.security import guard, policy
from dashboard.settings import Settings
from dashboard.theme import THEMES, stylesheet
from dashboard.view import View, view_of
from ingest.errors import UserError
from ingest.store.reader import Module

Page = Callable[[Settings, View, str | None], Component]
# Address, key of its word in the navigation, page.
PAGES: tuple[tuple[str, str, Page], ...] = (
    ("/", "nav.now", now.page),
    (night.PATH, "nav.night", night.page),
    (case.PATH, "nav.case", case.page),
    (reserves.PATH, "nav.reserves", reserves.page),
    (supply.PATH, "nav.supply", supply.page),
    (setup.PATH, "nav.setup", setup.page),
    (rehearsal.PATH, "nav.rehearsal", rehearsal.page),
    (settings_page.PATH, "nav.settings", settings_page.page),
    (bench.PATH, "nav.bench", bench.page),
)
# A library that draws nothing of ours, and what makes up for browsers of before 2020: it takes a quarter of
# plotly's time to start and puts promises of its own in place of the browser's. The one part of it that the
# pages' scripts need stands in assets/vendor.
UNUSED = ("dash_table", "polyfill@")
# Runs before all else: it says who is looking and asks for the first answers.
FIRST = "/assets/nightkeel.js"
# What one wants at a bedside; the other pages stand behind them.
BEDSIDE = ("/", night.PATH, case.PATH, reserves.PATH)
# The table library weighs more than all the rest: its page alone loads it, by a whole page load.
GRID, GRID_PATHS = "dash_ag_grid", (supply.PATH,)

INDEX = """<!DOCTYPE html>
<html lang="{language}" data-theme="{theme}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<link rel="icon" href="/assets/nightkeel.svg" type="image/svg+xml">
{first}
<style>{colours}</style>
{css}
</head>
<body>
{app_entry}
{config}{scripts}{renderer}
</body>
</html>"""


class Pages(Dash):
    """Dash with a page of our own around it: language and theme are right from the first byte."""

    settings: Settings

    def interpolate_index(self, *_: Any, **parts: Any) -> str:
        """Return the HTML page for this request."""
        view = view_of(request.cookies, self.settings)
        left_out = UNUSED if request.path in GRID_PATHS else (*UNUSED, GRID)
        lines = [line for line in parts["scripts"].splitlines() if not any(one in line for one in left_out)]
        parts["first"] = "\n".join(line for line in lines if FIRST in line)
        parts["scripts"] = "\n".join(line for line in lines if FIRST not in line)
        return INDEX.format(
            language=view.words.language,
            theme=view.theme,
            title=view.words("app.title"),
            colours=stylesheet(),
            **{name: parts[name] for name in ("first", "css", "app_entry", "config", "scripts", "renderer")},
        )


def current_view(settings: Settings) -> View:
    """Return how the person behind this request wants the page."""
    return view_of(request.cookies, settings)


def create_app(settings: Settings) -> Pages:
    """Return the application over one store; serve its `.server` with a WSGI server.

    Raise UserError when the store can't be read or the address is not allowed.
    """
    with reading(settings.store):
        pass
    app = Pages(
        "dashboard",
        title="nightkeel",
        update_title="",
        serve_locally=True,
        suppress_callback_exceptions=True,
        add_log_handler=False,
    )
    app.settings = settings
    app.layout = lambda: shell(current_view(settings), settings)
    _route(app, settings)
    now.register(app, settings)
    night.register(app, settings)
    case.register(app, settings)
    reasons.register(app, settings)
    serve_handovers(app.server, settings)
    reserves.register(app, settings)
    supply.register(app, settings)
    setup.register(app, settings)
    serve_sheets(app.server, settings)
    rehearsal.register(app, settings)
    settings_page.register(app, settings)
    bench.register(app, settings)
    guard(app.server, settings.host, policy(app.csp_hashes()), settings.names)
    install(app.server, settings)
    return app


def shell(view: View, settings: Settings) -> Component:
    """Return what stands around every page: skip link, navigation, banner, theme choice."""
    words = view.words
    # The layout is asked for by the page at the address, so it can come filled: one round trip less.
    asked = urlsplit(request.referrer or "/")
    page, marked = filled(settings, view, asked.path or "/", asked.query)
    return html.Div(
        [
            dcc.Location(id=ids.URL, refresh="callback-nav"),
            dcc.Store(id=ids.THEME, data=view.theme),
            html.A(words("app.skip"), href="#" + ids.PAGE, className="skip"),
            html.Header(
                [
                    html.Span(words("app.title"), className="wordmark"),
                    html.Nav(
                        navigation(asked.path or "/", view),
                        id=ids.NAV,
                        className="nav",
                        **attributes(aria_label=words("app.nav")),
                    ),
                    html.Div(
                        [_theme_button(theme, view) for theme in THEMES],
                        className="themes",
                        role="group",
                        **attributes(aria_label=words("theme.name")),
                    ),
                ],
                className="top",
            ),
            dcc.Store(id=ids.SHOWN, data=asked.path or "/"),
            html.Section(marked, id=ids.BANNER, **attributes(aria_label=words("app.banner"))),
            html.Main(page, id=ids.PAGE, tabIndex=-1),
            html.Footer(
                [
                    choices.layout(view),
                    html.P(
                        words("app.zone", zone=view.zone.key, offset=offset(view.now, view.zone)),
                        className="soft",
                    ),
                    html.P(words("app.caution"), className="caution"),
                ]
            ),
        ],
        id=ids.SHELL,
        className="shell",
        **attributes(
            data_seconds=words.raw("span.seconds"),
            data_minutes=words.raw("span.minutes"),
            data_hours=words.raw("span.hours"),
            data_decimal=words.number("."),
        ),
    )


def _theme_button(theme: str, view: View) -> Component:
    return html.Button(
        view.words(f"theme.{theme}"), id={"kind": ids.THEME_BUTTON, "theme": theme}, n_clicks=0
    )


def navigation(path: str, view: View) -> list[Component]:
    """Return the pages as words, the current one marked for eyes and for screen readers.

    Those wanted at a bedside stand first; on a phone the others open above a word of their own.
    """
    bedside: list[Component] = []
    rest: list[Component] = []
    for place, key, _ in PAGES:
        (bedside if place in BEDSIDE else rest).append(_to_page(place, key, path, view))
    more = html.Button(
        view.words("nav.more"),
        id=ids.NAV_MORE,
        className="nav-more" if path in BEDSIDE else "nav-more holds-current",
        **attributes(aria_expanded="false", aria_controls=ids.NAV_REST),
    )
    return [*bedside, more, html.Div(rest, id=ids.NAV_REST, className="nav-rest")]


def _to_page(place: str, key: str, path: str, view: View) -> Component:
    current = attributes(aria_current="page") if place == path else {}
    # dcc.Link passes no aria attributes on; the element around it does.
    return html.Span(dcc.Link(view.words(key), href=place, refresh=place in GRID_PATHS), **current)


def banner(settings: Settings, path: str, search: str | None, view: View) -> list[Component]:
    """Return the SIMULATED banner of an emulated module, and the beds where there are several."""
    with reading(settings.store) as reader:
        modules = reader.modules()
        module = choose_module(reader, parse(search).module)
    parts: list[Component] = []
    if module is not None and module.emulated:
        parts.append(html.Div(view.words("app.simulated"), className="simulated", role="note"))
    if module is not None and len(modules) > 1:
        rows = [html.Li(_bed(one, one.id == module.id, path, view)) for one in modules]
        named = attributes(aria_label=view.words("module.choose"))
        parts.append(html.Nav(html.Ul(rows), className="nights beds", **named))
    return parts


def _bed(module: Module, chosen: bool, path: str, view: View) -> Component:
    words = view.words
    name = words("module.name", bed=module.bed, site=module.site) if module.bed or module.site else ""
    number = words("module.number", number=f"{module.id:08x}")
    said = [html.Span(name or number, className="day"), html.Span(number if name else "")]
    return dcc.Link(
        said, href=address(path, Place(module=module.id)), className="chosen" if chosen else ""
    )


Filled = tuple[Component, list[Component]]


def filled(settings: Settings, view: View, path: str, search: str | None) -> Filled:
    """Return the page at an address and its banner; a store that can't be read is said in a sentence."""
    found = next((page for place, _, page in PAGES if place == path), None)
    if found is None:
        return notice(view.words("app.title"), view.words("page.missing")), []
    try:
        return found(settings, view, search), banner(settings, path, search, view)
    except UserError as error:
        return notice(view.words("app.title"), view.words("error.store", reason=str(error))), []


def _route(app: Dash, settings: Settings) -> None:
    @app.callback(
        Output(ids.PAGE, "children"), Output(ids.BANNER, "children"), Output(ids.NAV, "children"),
        Output(ids.SHOWN, "data"),
        Input(ids.URL, "pathname"), State(ids.URL, "search"), State(ids.SHOWN, "data"),
    )  # fmt: skip
    def show(path: str, search: str | None, shown: str) -> tuple[Any, Any, Any, Any]:
        if path == shown:
            raise PreventUpdate
        view = current_view(settings)
        return *filled(settings, view, path, search), navigation(path, view), path

    choices.register(app)
    app.clientside_callback(
        ClientsideFunction("nightkeel", "theme"),
        Output(ids.THEME, "data"),
        Input({"kind": ids.THEME_BUTTON, "theme": dash.ALL}, "n_clicks"),
    )

