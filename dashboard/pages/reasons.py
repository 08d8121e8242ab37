"""One-tap reasons on Now and Case: suction, moved, tube changed. A tap is a mark at its own time."""

from typing import Any

import dash
from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate
from flask import request

from dashboard import ids
from dashboard.access import signed
from dashboard.components import attributes
from dashboard.formats import clock
from dashboard.links import parse
from dashboard.marking import KINDS, Draft, write
from dashboard.queries import choose_module, reading
from dashboard.refusing import refusal
from dashboard.settings import Settings
from dashboard.view import View, view_of
from ingest.errors import UserError

# A note says nothing without its text, so it has no button.
REASONS = tuple(kind for kind in KINDS if kind != "note")


def author(view: View) -> Component:
    """Return the field for initials, kept by this browser, so that one tap is enough."""
    field = dcc.Input(
        id=ids.REASON_AUTHOR, type="text", maxLength=20, persistence=True, persistence_type="local"
    )
    label = html.Label(view.words("case.who"), htmlFor=ids.REASON_AUTHOR)
    return html.Div([label, field], className="field initials")


def layout(view: View, *, with_author: bool = True) -> Component:
    """Return the buttons, and the field for initials unless the page has it elsewhere."""
    words = view.words
    buttons = [
        html.Button(
            words(f"mark.kind.{kind}"), id={"kind": ids.REASON, "of": kind}, className="button", n_clicks=0
        )
        for kind in REASONS
    ]
    return html.Section(
        [
            html.H2(words("reason.title")),
            html.P(words("reason.how"), className="soft"),
            html.Div(
                [*([author(view)] if with_author else []), html.Div(buttons, className="moves")],
                className="mark-row",
            ),
            html.P(id=ids.REASON_SAID, className="answer", role="status", **attributes(aria_live="polite")),
        ],
        className="reasons",
    )


def tapped(settings: Settings, view: View, search: str | None, kind: str, author: str) -> str:
    """Write one reason down now; return what to say."""
    words = view.words
    now = settings.clock()
    try:
        with reading(settings.store) as reader:
            module = choose_module(reader, parse(search).module)
        if module is None:
            return words("empty.title")
        who = signed(author.strip() or words("reason.page"))
        write(settings.store, module.id, Draft(utc=now, kind=kind, author=who, text=""), now)
    except UserError as error:
        return words("reason.failed", reason=refusal(error, words))
    return words("reason.saved", what=words(f"mark.kind.{kind}"), clock=clock(now, view.zone, seconds=True))


def register(app: Dash, settings: Settings) -> None:
    """Add the buttons' callback."""

    @app.callback(
        Output(ids.REASON_SAID, "children"),
        Input({"kind": ids.REASON, "of": dash.ALL}, "n_clicks"),
        State(ids.URL, "search"), State(ids.REASON_AUTHOR, "value"),
        prevent_initial_call=True,
    )  # fmt: skip
    def tap(clicks: list[int], search: str | None, author: str | None) -> Any:
        asked: Any = dash.ctx.triggered_id
        if not any(clicks) or not isinstance(asked, dict) or asked.get("of") not in REASONS:
            raise PreventUpdate
        return tapped(settings, view_of(request.cookies, settings), search, asked["of"], author or "")
