"""Set-up: check lists, what to check first, the maintenance log, the clock; for who answers for the bed."""

from collections.abc import Mapping
from typing import Any

import dash
from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate
from flask import request

from dashboard import ids
from dashboard import setup_doing as doing
from dashboard.check_words import when
from dashboard.components import attributes, notice
from dashboard.first_look import place_name, shown, trees
from dashboard.pages.due import FIRST, PATH
from dashboard.pages.setup_lists import lists, live
from dashboard.queries import reading
from dashboard.refusing import refusal
from dashboard.settings import Settings
from dashboard.upkeep_words import due_line, dues, entry_line, hours_line, log_of, trend_lines
from dashboard.view import View, view_of
from ingest.analysis.guided.table import LISTS
from ingest.analysis.upkeep import PARTS
from ingest.errors import UserError
from ingest.store.reader import Module, Reader

__all__ = ["PATH", "page", "register"]

POLL_MS = 2000
LOG_MAX = 12


def page(settings: Settings, view: View, search: str | None) -> Component:
    """Return the page, filled; the callbacks renew what has changed."""
    words = view.words
    with reading(settings.store) as reader:
        module = doing.module_of(reader, search)
        if module is None:
            return notice(words("empty.title"), words("empty.text"))
        found = doing.standing(reader, view, module.id)
        checks = lists(found, module, view)
        first = first_look(reader, settings, module, view)
        upkeep = upkeep_shown(reader, module.id, view)
        clocks = clock_shown(reader, module.id, view)
    return html.Div(
        [
            html.H1(words("setup.title")),
            html.P(words("setup.lead"), className="lead"),
            _who(view),
            html.P(id=ids.SETUP_SAID, className="answer", role="status", **attributes(aria_live="assertive")),
            html.Div(checks, id=ids.SETUP_LISTS, className="check-lists"),
            html.Section([html.H2(words("first.title")), html.P(words("first.lead"), className="soft"),
                          html.Div(first, id=ids.FIRST_SHOWN)], id=FIRST, className="first"),
            html.Section([html.H2(words("upkeep.title")), html.Div(upkeep, id=ids.UPKEEP_SHOWN),
                          _upkeep_form(view)], className="upkeep"),
            html.Section([html.H2(words("clock.title")), html.Div(clocks, id=ids.CLOCK_SHOWN),
                          _clock_form(view)], className="clock-set"),
            dcc.Interval(id=ids.SETUP_TICK, interval=POLL_MS),
            dcc.Store(id=ids.SETUP_SHAPE, data=[one.shape for one in found]),
            dcc.Store(id=ids.SETUP_DONE, data=0),
        ],
        className="page page-setup",
    )  # fmt: skip


def _who(view: View) -> Component:
    words = view.words
    field = dcc.Input(id=ids.SETUP_WHO, type="text", maxLength=20, persistence=True, persistence_type="local")
    # A button that stays pressed, or not; it is never pressed beforehand.
    second = html.Button(words("setup.second_source"), id=ids.SETUP_SECOND, className="button", n_clicks=0,
                         **attributes(aria_pressed="false"))  # fmt: skip
    label = html.Label(words("setup.who"), htmlFor=ids.SETUP_WHO)
    return html.Div([html.Div([label, field], className="field"), second], className="mark-row setup-who")


def first_look(reader: Reader, settings: Settings, module: Module, view: View) -> list[Component]:
    """Return the trees of what stands now, or why they can't be shown."""
    words = view.words
    try:
        found = trees(settings.store, reader, module.id, view)
    except UserError as error:
        return [html.P(words("setup.failed", reason=refusal(error, words)), className="answer")]
    return [
        html.Details([html.Summary(place_name(place, view)), shown(branches, view)], open=place_first == 0)
        for place_first, (place, branches) in enumerate(found)
    ]


def upkeep_shown(reader: Reader, module: int, view: View) -> list[Component]:
    """Return what is due, wear, and the newest entries."""
    words = view.words
    log = log_of(reader, module)
    known = [one for one in dues(reader, module, log, view.now) if one.last_ms is not None]
    due = [html.Li(due_line(one, view), className=f"due-{one.state(view.now)}") for one in known]
    never = [name for name in PARTS if name not in {one.part for one in known}]
    if never:
        listed = words("list.join").join(words(f"part.{name}") for name in never)
        due.append(html.Li(words("due.never", part=listed), className="due-never"))
    wear = [html.Li(line) for line in (hours_line(log, view), *trend_lines(reader, module, log, view))]
    rows = [
        html.Li([html.Span(when(one.at_ms, view), className="soft"), html.Span(entry_line(one, view)),
                 html.Span(words("data", text=one.author), className="soft")])
        for one in log[: -LOG_MAX - 1 : -1]
    ]  # fmt: skip
    parts: list[Component] = [html.Ul(due, className="dues"), html.Ul(wear, className="dues")]
    if rows:
        parts.append(html.Ul(rows, className="dues"))
    return parts


def _choose(key: str, of: str, options: list[Any], view: View) -> Component:
    radios: Any = dcc.RadioItems(options=options, id=of, className="kinds")
    return html.Fieldset([html.Legend(view.words(key)), radios], className="kind-box")


def _upkeep_form(view: View) -> Component:
    words = view.words
    parts = [{"label": words(f"part.{name}"), "value": name} for name in PARTS]
    hours = dcc.Input(id=ids.UPKEEP_HOURS, type="text", maxLength=8)
    text = dcc.Input(id=ids.UPKEEP_TEXT, type="text", maxLength=200)
    return html.Fieldset(
        [
            html.Legend(words("upkeep.enter")),
            _choose("upkeep.part", ids.UPKEEP_PART, parts, view),
            _choose("upkeep.deed", ids.UPKEEP_DEED, [], view),
            html.Div(
                [
                    html.Div([html.Label(words("upkeep.counter"), htmlFor=ids.UPKEEP_HOURS), hours],
                             className="field"),
                    html.Div([html.Label(words("upkeep.note"), htmlFor=ids.UPKEEP_TEXT), text],
                             className="field"),
                    html.Button(words("upkeep.save"), id=ids.UPKEEP_SAVE, className="button", n_clicks=0),
                ],
                className="mark-row",
            ),
            html.P(id=ids.UPKEEP_SAID, className="answer", role="status"),
        ],
        className="mark-form",
    )  # fmt: skip


def clock_shown(reader: Reader, module: int, view: View) -> list[Component]:
    """Return how the module's clock stands, and its last setting with the old and the new date."""
    return [html.P(line) for line in doing.clock_lines(reader, module, view)]


def _clock_form(view: View) -> Component:
    words = view.words
    typed = dcc.Input(id=ids.CLOCK_TYPED, type="text", maxLength=19)
    return html.Div(
        [
            html.Button(words("clock.browser"), id=ids.CLOCK_BROWSER, className="button", n_clicks=0),
            html.Div([html.Label(words("clock.typed"), htmlFor=ids.CLOCK_TYPED), typed], className="field"),
            html.Button(words("clock.set"), id=ids.CLOCK_SET, className="button", n_clicks=0),
            dcc.Store(id=ids.CLOCK_NOW),
            html.P(id=ids.CLOCK_SAID, className="answer", role="status"),
        ],
        className="mark-row",
    )


def register(app: Dash, settings: Settings) -> None:
    """Add the page's callbacks."""

    def view() -> View:
        return view_of(request.cookies, settings)

    _register_lists(app, settings, view)
    _register_rest(app, settings, view)


def _register_lists(app: Dash, settings: Settings, view: Any) -> None:
    @app.callback(
        Output(ids.SETUP_LISTS, "children"), Output(ids.SETUP_SHAPE, "data"),
        *(Output({"kind": ids.SETUP_LIVE, "list": name}, "children") for name in LISTS),
        Input(ids.SETUP_TICK, "n_intervals"), Input(ids.SETUP_DONE, "data"),
        State(ids.SETUP_SHAPE, "data"), State(ids.URL, "search"),
        prevent_initial_call=True,
    )  # fmt: skip
    def tick(_: Any, __: Any, before: Any, search: str | None) -> tuple[Any, ...]:
        none = dash.no_update
        with reading(settings.store) as reader:
            module = doing.module_of(reader, search)
            if module is None:
                raise PreventUpdate
            now = view()
            found = doing.standing(reader, now, module.id)
            shape = [one.shape for one in found]
            if shape != before:
                return lists(found, module, now), shape, *(none for _ in LISTS)
        return none, none, *live(found, now)

    @app.callback(
        Output(ids.SETUP_SAID, "children"), Output(ids.SETUP_DONE, "data"),
        Input({"kind": ids.SETUP_DO, "list": dash.ALL, "do": dash.ALL, "step": dash.ALL}, "n_clicks"),
        State(ids.SETUP_WHO, "value"), State(ids.SETUP_SECOND, "n_clicks"), State(ids.URL, "search"),
        State(ids.SETUP_DONE, "data"),
        prevent_initial_call=True,
    )  # fmt: skip
    def press(
        clicks: list[int], who: str | None, second: int, search: str | None, count: int
    ) -> tuple[Any, Any]:
        asked: Any = dash.ctx.triggered_id
        if not any(clicks) or not isinstance(asked, Mapping) or not dash.ctx.triggered[0]["value"]:
            raise PreventUpdate
        told = {"who": who or "", "second_source": second % 2 == 1}
        done, said = doing.do(settings, view(), search, asked, told)
        return said, count + 1 if done else dash.no_update


    @app.callback(Output(ids.SETUP_SECOND, "aria-pressed"), Input(ids.SETUP_SECOND, "n_clicks"))
    def second_source(clicks: int) -> str:
        return "true" if clicks % 2 else "false"


def _register_rest(app: Dash, settings: Settings, view: Any) -> None:
    @app.callback(
        Output(ids.UPKEEP_DEED, "options"), Output(ids.UPKEEP_DEED, "value"), Input(ids.UPKEEP_PART, "value"),
        prevent_initial_call=True,
    )
    def deeds(part: str | None) -> tuple[Any, Any]:
        words = view().words
        known = PARTS[part].deeds if part is not None and part in PARTS else ()
        options = [{"label": words(f"deed.{one}"), "value": one} for one in known]
        return options, known[0] if len(known) == 1 else None

    @app.callback(
        Output(ids.UPKEEP_SAID, "children"), Output(ids.UPKEEP_SHOWN, "children"),
        Input(ids.UPKEEP_SAVE, "n_clicks"),
        State(ids.UPKEEP_PART, "value"), State(ids.UPKEEP_DEED, "value"), State(ids.UPKEEP_HOURS, "value"),
        State(ids.UPKEEP_TEXT, "value"), State(ids.SETUP_WHO, "value"), State(ids.URL, "search"),
        prevent_initial_call=True,
    )  # fmt: skip
    def save(clicks: int, part: Any, deed: Any, hours: Any, text: Any, who: Any, search: Any) -> Any:
        if not clicks:
            raise PreventUpdate
        if not part or not deed:
            return view().words("upkeep.choose"), dash.no_update
        told = {"part": part, "deed": deed, "hours": hours, "text": text}
        done, said = doing.write_upkeep(settings, view(), search, told, str(who or ""))
        if not done:
            return said, dash.no_update
        with reading(settings.store) as reader:
            module = doing.module_of(reader, search)
            assert module is not None, "an entry was just written for it"
            return said, upkeep_shown(reader, module.id, view())

    app.clientside_callback(
        ClientsideFunction("nightkeel", "moment"),
        Output(ids.CLOCK_NOW, "data"), Input(ids.CLOCK_BROWSER, "n_clicks"),
        prevent_initial_call=True,
    )  # fmt: skip

    @app.callback(
        Output(ids.CLOCK_SAID, "children"), Output(ids.CLOCK_SHOWN, "children"),
        Input(ids.CLOCK_NOW, "data"), Input(ids.CLOCK_SET, "n_clicks"),
        State(ids.CLOCK_TYPED, "value"), State(ids.SETUP_WHO, "value"), State(ids.URL, "search"),
        prevent_initial_call=True,
    )  # fmt: skip
    def set_clock(moment: Any, _: Any, typed: str | None, who: str | None, search: str | None) -> Any:
        by_browser = dash.ctx.triggered_id == ids.CLOCK_NOW
        utc = moment if by_browser else doing.time_of(typed or "", view())
        if not isinstance(utc, int) or not 0 <= utc // 1000 <= doing.U32:
            return view().words("clock.bad"), dash.no_update
        _, said = doing.set_clock(settings, view(), search, utc, who or "")
        with reading(settings.store) as reader:
            module = doing.module_of(reader, search)
            return said, dash.no_update if module is None else clock_shown(reader, module.id, view())
