"""What a person reads off: SpO2, pulse, flow, gauge, agent; entered on Case, drawn on Night as points."""

from collections.abc import Mapping
from typing import Any

import dash
from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate
from flask import request

from dashboard import ids
from dashboard.access import signed
from dashboard.components import attributes
from dashboard.figures.hand import value_words
from dashboard.formats import clock
from dashboard.links import parse
from dashboard.marking import Draft, remove, time_in_night, write
from dashboard.queries import choose_module, reading
from dashboard.refusing import refusal
from dashboard.settings import Settings
from dashboard.texts import Words
from dashboard.view import View, view_of
from ingest.analysis.hand import ENTRIES, KIND, hand_entry, hand_points
from ingest.analysis.reserves.cylinder import cylinder_content
from ingest.analysis.reserves.entries import KIND as RESERVE
from ingest.analysis.reserves.entries import entered
from ingest.analysis.units import GAUGE_UNITS
from ingest.errors import UserError
from ingest.store.reader import Mark, Reader

DAY_MS = 86_400_000
RECENT_MS, RECENT_MAX = 12 * 3_600_000, 12
NAMES = (*ENTRIES, "unit", "time")


def layout(view: View) -> Component:
    """Return the form; what was entered last stands below it."""
    words = view.words
    fields: list[Component] = [_line(f"entry.field.{what}", what, words) for what in ENTRIES]
    gauge = list(ENTRIES).index("gauge")
    fields.insert(gauge + 1, _units(words))
    return html.Section(
        [
            html.H2(words("entry.title")),
            html.P(words("entry.how"), className="soft"),
            html.Fieldset(
                [
                    html.Legend(words("entry.save")),
                    html.Div(fields, className="mark-row"),
                    _line("entry.time", "time", words),
                    html.Button(
                        words("entry.save"), id=ids.ENTRY_SAVE, className="button", n_clicks=0
                    ),
                    html.P(
                        id=ids.ENTRY_SAID, className="answer", role="status",
                        **attributes(aria_live="polite"),
                    ),
                ],
                className="mark-form",
            ),
            html.H3(words("entry.recent")),
            html.Ul(id=ids.ENTRY_LIST, className="marks"),
            dcc.Store(id=ids.ENTRY_WRITTEN, data=0),
        ],
        className="reserve-form entries",
    )  # fmt: skip


def _field_id(name: str) -> str:
    return f"{ids.ENTRY_FIELD}-{name}"


def _line(key: str, name: str, words: Words) -> Component:
    field = dcc.Input(id=_field_id(name), type="text", maxLength=8)
    return html.Div([html.Label(words(key), htmlFor=_field_id(name)), field], className="field")


def _units(words: Words) -> Component:
    # Nothing is chosen beforehand: a gauge in psi taken for bar would promise ten times too much.
    options = [{"label": words(f"reserves.unit.{unit}"), "value": unit} for unit in GAUGE_UNITS]
    radios: Any = dcc.RadioItems(options=options, id=_field_id("unit"), className="kinds")
    return html.Fieldset([html.Legend(words("entry.unit")), radios], className="kind-box")


def recent(settings: Settings, view: View, search: str | None) -> list[Component]:
    """Return what was entered by hand last, newest first."""
    words = view.words
    with reading(settings.store) as reader:
        module = choose_module(reader, parse(search).module)
        marks = [] if module is None else reader.marks(module.id, view.now - RECENT_MS, view.now + 1)
    mine = [mark for mark in marks if mark.kind in (KIND, RESERVE) and hand_points([mark])]
    if not mine:
        return [html.Li(words("entry.none"), className="soft")]
    return [_entered(mark, view) for mark in mine[: -RECENT_MAX - 1 : -1]]


def _entered(mark: Mark, view: View) -> Component:
    words, when = view.words, clock(mark.utc, view.zone)
    points = hand_points([mark])
    named = words("list.join").join(words(f"entry.{one.what}") for one in points)
    said = words(
        "entry.line", clock=when, what=named, author=words("data", text=mark.author),
        value=words("list.join").join(value_words(one, words) for one in points),
    )  # fmt: skip
    button = html.Button(
        words("entry.take_back"), id={"kind": ids.ENTRY_BACK, "mark": mark.mark}, className="button",
        n_clicks=0, **attributes(aria_label=words("entry.take_back_of", what=named, clock=when)),
    )  # fmt: skip
    return html.Li([html.Span(said, className="typed"), button])


def taken_back(settings: Settings, view: View, search: str | None, mark: int, author: str) -> str:
    """Take a wrong entry off the pages, its history kept; return what to say."""
    words = view.words
    if not author.strip():
        return words("case.bad_author")
    try:
        with reading(settings.store) as reader:
            module = choose_module(reader, parse(search).module)
            history = reader.mark_history(mark)
        if module is None or not history or history[-1].module != module.id:
            return words("empty.title")
        if history[-1].kind not in (KIND, RESERVE):
            return words("empty.title")
        remove(settings.store, mark, signed(author.strip()), settings.clock())
    except UserError as error:
        return words("entry.failed", reason=refusal(error, words))
    return words("entry.taken_back")


def saved(
    settings: Settings, view: View, search: str | None, told: Mapping[str, str]
) -> tuple[bool, str]:
    """Write all values of the form or none; return whether they were, and what to say."""
    words = view.words
    given = {what: told[what] for what in ENTRIES if told[what].strip()}
    if not given:
        return False, words("entry.nothing")
    if not told["author"].strip():
        return False, words("case.bad_author")
    at: int | None = view.now
    if told["time"].strip():
        at = time_in_night(told["time"], view.now - DAY_MS + 1, view.now + 1, view.zone)
    if at is None:
        return False, words("case.bad_time")
    try:
        data = {
            what: hand_entry(what, text, told["unit"] if what == "gauge" else None)
            for what, text in given.items()
        }
        with reading(settings.store) as reader:
            module = choose_module(reader, parse(search).module)
            if module is None:
                return False, words("empty.title")
            _check_gauge(reader, module.id, data.get("gauge"), at)
        author = signed(told["author"].strip())
        for one in data.values():
            draft = Draft(utc=at, kind=KIND, author=author, text="", data=one)
            write(settings.store, module.id, draft, settings.clock())
    except UserError as error:
        return False, words("entry.failed", reason=refusal(error, words))
    listed = words("list.join").join(words(f"entry.{what}") for what in data)
    return True, words("entry.saved", what=listed)


def _check_gauge(reader: Reader, module: int, data: Mapping[str, Any] | None, at: int) -> None:
    """Refuse a gauge that the cylinder at the bed can't show, where its size is known."""
    known = entered([one for one in reader.marks(module, kind=RESERVE) if one.utc <= at]).cylinder
    if data is not None and known is not None:
        cylinder_content(known, data["value"])


def register(app: Dash, settings: Settings) -> None:
    """Add the form's callbacks."""

    @app.callback(
        Output(ids.ENTRY_SAID, "children"), Output(ids.ENTRY_WRITTEN, "data"),
        *(Output(_field_id(what), "value") for what in ENTRIES),
        Input(ids.ENTRY_SAVE, "n_clicks"), State(ids.URL, "search"), State(ids.ENTRY_WRITTEN, "data"),
        State(ids.REASON_AUTHOR, "value"), *(State(_field_id(name), "value") for name in NAMES),
        prevent_initial_call=True,
    )  # fmt: skip
    def save(clicks: int, search: str | None, count: int, *written: Any) -> Any:
        if not clicks:
            raise PreventUpdate
        names = ("author", *NAMES)
        told = {name: str(part or "") for name, part in zip(names, written, strict=True)}
        done, said = saved(settings, view_of(request.cookies, settings), search, told)
        # A value that was taken leaves its field, so that a second press enters nothing twice.
        emptied = ["" if done else dash.no_update] * len(ENTRIES)
        return said, count + 1 if done else dash.no_update, *emptied

    @app.callback(
        Output(ids.ENTRY_SAID, "children", allow_duplicate=True),
        Output(ids.ENTRY_WRITTEN, "data", allow_duplicate=True),
        Input({"kind": ids.ENTRY_BACK, "mark": dash.ALL}, "n_clicks"),
        State(ids.URL, "search"), State(ids.ENTRY_WRITTEN, "data"), State(ids.REASON_AUTHOR, "value"),
        prevent_initial_call=True,
    )  # fmt: skip
    def take_back(clicks: list[int], search: str | None, count: int, author: str | None) -> Any:
        asked: Any = dash.ctx.triggered_id
        if not any(clicks) or not isinstance(asked, dict):
            raise PreventUpdate
        shown = view_of(request.cookies, settings)
        return taken_back(settings, shown, search, int(asked["mark"]), author or ""), count + 1

    @app.callback(
        Output(ids.ENTRY_LIST, "children"), Input(ids.ENTRY_WRITTEN, "data"), State(ids.URL, "search")
    )
    def listed(_: int, search: str | None) -> list[Component]:
        return recent(settings, view_of(request.cookies, settings), search)
