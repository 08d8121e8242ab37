"""Pause sound and acknowledge from a page: only within 60 s of a press of the module's own button.

The module decides; the page sends, waits for its answer and says it. What the module lets no page silence
(no breath, circuit apart) it refuses by itself.
"""

from collections.abc import Mapping
from typing import Any

import dash
from dash import Dash, Input, Output, State, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate
from flask import request

from dashboard import ids
from dashboard.access import operator
from dashboard.components import attributes
from dashboard.links import parse
from dashboard.queries import choose_module, reading
from dashboard.settings import Settings
from dashboard.view import View, view_of
from ingest.control_client import Client
from ingest.errors import UserError
from ingest.store.reader import tables

# What a page may send: command, its values.
OFFERED: Mapping[str, tuple[int, ...]] = {"pause_audio": (), "acknowledge": (tables.ALL_ROWS,)}
OPERATOR = "page on this machine"
ANSWER_WAIT_S = 3.0


def layout(is_open: bool, view: View) -> Component:
    """Return the controls; closed until the module's own button was pressed."""
    words = view.words
    buttons = [
        html.Button(
            words(f"control.{name}"), id={"kind": ids.NOW_CONTROL, "do": name}, className="button", n_clicks=0
        )
        for name in OFFERED
    ]
    return html.Div(
        [
            html.Fieldset(
                [html.Legend(words("control.title")), *buttons],
                id=ids.NOW_CONTROLS,
                disabled=not is_open,
                className="controls",
            ),
            html.P(words("control.how"), className="soft"),
            html.P(id=ids.NOW_ANSWER, className="answer", role="status", **attributes(aria_live="polite")),
        ],
        className="control-box",
    )


def send(settings: Settings, view: View, search: str | None, name: str) -> str:
    """Send one command to the module shown and return its answer in words."""
    words = view.words
    try:
        with reading(settings.store) as reader:
            module = choose_module(reader, parse(search).module)
        if module is None:
            return words("empty.title")
        client = Client(settings.store)
        row = client.command(
            module.id, tables.COMMANDS[name], tables.command_body(name, OFFERED[name]),
            operator=operator(OPERATOR), reason="", from_page=True,
        )  # fmt: skip
        found = client.answered(row, ANSWER_WAIT_S)
    except UserError as error:
        return words("control.failed", reason=str(error))
    if found is None:
        return words("control.no_answer")
    result = tables.COMMAND_RESULTS[int(found["result"])]
    return words("control.answer", what=words(f"control.{name}"), result=words(f"result.{result}"))


def register(app: Dash, settings: Settings) -> None:
    """Add the controls' callback."""

    @app.callback(
        Output(ids.NOW_ANSWER, "children"),
        Input({"kind": ids.NOW_CONTROL, "do": dash.ALL}, "n_clicks"), State(ids.URL, "search"),
        prevent_initial_call=True,
    )  # fmt: skip
    def press(clicks: list[int], search: str | None) -> Any:
        asked: Any = dash.ctx.triggered_id
        if not any(clicks) or asked is None or asked.get("do") not in OFFERED:
            raise PreventUpdate
        return send(settings, view_of(request.cookies, settings), search, asked["do"])
