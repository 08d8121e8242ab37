"""At the foot of every page: the language and the unit of pressure, kept by the browser in a cookie."""

import dash
from dash import ClientsideFunction, Dash, Input, Output, dcc, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.access import ACCOUNT, sign_in_demanded
from dashboard.components import attributes
from dashboard.texts import CATALOGUES
from dashboard.view import View
from ingest.analysis.units import CIRCUIT_UNITS


def layout(view: View) -> Component:
    """Return one button a language and a unit; the one in force says so to eyes and to screen readers."""
    words = view.words
    languages = [
        _button("lang", name, words(f"choice.language.{name}"), chosen=name == words.language)
        for name in CATALOGUES
    ]
    units = [
        _button("unit", name, words(f"unit.{name}"), chosen=name == view.unit) for name in CIRCUIT_UNITS
    ]
    return html.Div(
        [
            dcc.Store(id=ids.CHOSEN),
            _group(words("choice.language"), languages),
            _group(words("choice.unit"), units),
            *_account(view),
        ],
        className="choices",
        role="group",
        **attributes(aria_label=words("choice.title")),
    )


def _account(view: View) -> list[Component]:
    if not sign_in_demanded():
        return []
    return [html.A(view.words("access.account"), href=ACCOUNT, className="button")]


def _group(title: str, buttons: list[Component]) -> Component:
    named = attributes(aria_label=title)
    return html.Div([html.Span(title, className="soft"), *buttons], className="choice", role="group", **named)


def _button(kind: str, value: str, text: str, *, chosen: bool) -> Component:
    options = attributes(aria_pressed="true" if chosen else "false")
    if kind == "lang":
        options |= {"lang": value}
    return html.Button(text, id={"kind": ids.CHOICE, "of": kind, "value": value}, n_clicks=0, **options)


def register(app: Dash) -> None:
    """Let a press be remembered and the page be asked for anew."""
    app.clientside_callback(
        ClientsideFunction("nightkeel", "choose"),
        Output(ids.CHOSEN, "data"),
        Input({"kind": ids.CHOICE, "of": dash.ALL, "value": dash.ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
