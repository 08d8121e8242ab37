"""The pages as a Dash application: shell, routes, security. `create_app` is all that others need."""

from collections.abc import Callable
from typing import Any

import dash
from dash import ClientsideFunction, Dash, Input, Output, dcc, html
from dash.development.base_component import Component
from flask import request

from dashboard import ids
from dashboard.components import attributes, notice
from dashboard.links import parse
from dashboard.pages import night, now
from dashboard.queries import choose_module, reading
from dashboard.security import guard, policy
from dashboard.settings import Settings
from dashboard.theme import THEMES, stylesheet
from dashboard.view import View, view_of
from ingest.errors import UserError

# Address, key of its word in the navigation, layout.
PAGES: tuple[tuple[str, str, Callable[[View], Component]], ...] = (
    ("/", "nav.now", now.layout),
    (night.PATH, "nav.night", night.layout),
)

INDEX = """<!DOCTYPE html>
<html lang="{language}" data-theme="{theme}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>{colours}</style>
{css}
</head>
<body>
{app_entry}
<footer>{config}{scripts}{renderer}</footer>
</body>
</html>"""


class Pages(Dash):
    """Dash with a page of our own around it: language and theme are right from the first byte."""

    settings: Settings

    def interpolate_index(self, *_: Any, **parts: Any) -> str:
        """Return the HTML page for this request."""
        view = view_of(request.cookies, self.settings)
        return INDEX.format(
            language=view.words.language,
            theme=view.theme,
            title=view.words("app.title"),
            colours=stylesheet(),
            **{name: parts[name] for name in ("css", "app_entry", "config", "scripts", "renderer")},
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
    guard(app.server, settings.host, policy(app.csp_hashes()))
    return app


def shell(view: View, settings: Settings) -> Component:
    """Return what stands around every page: skip link, navigation, banner, theme choice."""
    words = view.words
    return html.Div(
        [
            dcc.Location(id=ids.URL, refresh="callback-nav"),
            dcc.Store(id=ids.THEME, data=view.theme),
            html.A(words("app.skip"), href="#" + ids.PAGE, className="skip"),
            html.Header(
                [
                    html.Span(words("app.title"), className="wordmark"),
                    html.Nav(id=ids.NAV, className="nav", **attributes(aria_label=words("app.nav"))),
                    html.Div(
                        [_theme_button(theme, view) for theme in THEMES],
                        className="themes",
                        role="group",
                        **attributes(aria_label=words("theme.name")),
                    ),
                ],
                className="top",
            ),
            html.Div(id=ids.BANNER),
            html.Main(id=ids.PAGE, tabIndex=-1),
            html.P(words("app.caution"), className="caution"),
        ],
        id=ids.SHELL,
        className="shell",
        **attributes(
            data_seconds=words.raw("span.seconds"),
            data_minutes=words.raw("span.minutes"),
            data_hours=words.raw("span.hours"),
        ),
    )


def _theme_button(theme: str, view: View) -> Component:
    return html.Button(
        view.words(f"theme.{theme}"), id={"kind": ids.THEME_BUTTON, "theme": theme}, n_clicks=0
    )


def navigation(path: str, view: View) -> list[Component]:
    """Return the pages as words; the current one is marked for eyes and for screen readers."""
    links: list[Component] = []
    for address, key, _ in PAGES:
        current = attributes(aria_current="page") if address == path else {}
        # dcc.Link passes no aria attributes on; a list item does.
        links.append(html.Span(dcc.Link(view.words(key), href=address), **current))
    return links


def banner(settings: Settings, search: str | None, view: View) -> list[Component]:
    """Return the SIMULATED banner where the module shown is emulated."""
    with reading(settings.store) as reader:
        module = choose_module(reader, parse(search).module)
    if module is None or not module.emulated:
        return []
    return [html.Div(view.words("app.simulated"), className="simulated", role="note")]


def _route(app: Dash, settings: Settings) -> None:
    @app.callback(
        Output(ids.PAGE, "children"), Output(ids.NAV, "children"), Output(ids.BANNER, "children"),
        Input(ids.URL, "pathname"), Input(ids.URL, "search"),
    )  # fmt: skip
    def show(path: str, search: str | None) -> tuple[Any, Any, Any]:
        view = current_view(settings)
        page: Any = dash.no_update
        if dash.ctx.triggered_id is None or "url.pathname" in dash.ctx.triggered_prop_ids:
            page = _page(path, view)
        try:
            marked = banner(settings, search, view)
        except UserError as error:
            page, marked = notice("", view.words("error.store", reason=str(error))), []
        return page, navigation(path, view), marked

    app.clientside_callback(
        ClientsideFunction("nightkeel", "theme"),
        Output(ids.THEME, "data"),
        Input({"kind": ids.THEME_BUTTON, "theme": dash.ALL}, "n_clicks"),
    )


def _page(path: str, view: View) -> Component:
    for address, _, layout in PAGES:
        if address == path:
            return layout(view)
    return notice(view.words("app.title"), view.words("page.missing"))
