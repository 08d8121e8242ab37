"""On the page Supply: what people know of the site, of a time, and of equipment that stopped."""

from collections.abc import Callable, Sequence
from typing import Any

import dash
from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate
from flask import request

from dashboard import ids, links
from dashboard.access import signed
from dashboard.components import attributes
from dashboard.formats import clock, date
from dashboard.marking import Draft, remove, write
from dashboard.queries import choose_module, reading
from dashboard.settings import Settings
from dashboard.site_marks import (
    ABOUT,
    LABELS,
    LONGEST,
    SITE,
    TRIP,
    WATCHED,
    about_site,
    about_time,
    moment,
    said_of,
    site_marks,
)
from dashboard.view import View, view_of
from ingest.errors import UserError
from ingest.store.reader import Mark

WHAT = (*LABELS, TRIP, WATCHED)
SHOWN_MAX = 40


def layout(marks: Sequence[Mark], view: View) -> Component:
    """Return the section: what was said already, and two forms."""
    words = view.words
    about: dict[str, str] = {}
    for mark in marks:
        if mark.kind == SITE:
            about |= {str(name): str(value) for name, value in mark.data.items()}
    return html.Section(
        [
            html.H2(words("label.title")),
            html.P(words("label.note"), className="soft"),
            html.Div(listed(marks, view), id=ids.SITE_LIST),
            _site_form(about, view),
            _time_form(view),
            html.P(id=ids.SITE_STATUS, className="answer", role="status", **attributes(aria_live="polite")),
        ],
        className="site-words",
    )


def listed(marks: Sequence[Mark], view: View) -> list[Component]:
    """Return the marks, newest first, each with a button that takes it off."""
    words = view.words
    if not marks:
        return [html.P(words("label.none"), className="soft")]
    rows = [_item(mark, view) for mark in reversed(marks[-SHOWN_MAX:])]
    out: list[Component] = [html.Ul(rows, className="marks")]
    if len(marks) > SHOWN_MAX:
        out.append(html.P(words("label.more", n=SHOWN_MAX, all=len(marks)), className="soft"))
    return out


def _item(mark: Mark, view: View) -> Component:
    words = view.words
    when = _moment(mark.utc, view)
    if mark.utc_end is not None:
        when = words("supply.period", start=when, end=_moment(mark.utc_end, view))
    said = "" if mark.kind == "supply label" and said_of(mark) in LABELS else said_of(mark)
    what = words(f"label.what.{said_of(mark)}") if mark.kind == "supply label" and not said else (
        words(f"mark.kind.{mark.kind}"))  # fmt: skip
    button = html.Button(
        words("label.remove"), id={"kind": ids.SITE_REMOVE, "mark": mark.mark}, n_clicks=0,
        className="button", **attributes(aria_label=words("label.remove_of", what=what, when=when)),
    )  # fmt: skip
    return html.Li([
        html.Span(when), html.B(what), html.Span(words("data", text=said), className="typed"),
        html.Span(words("data", text=mark.author), className="author"), button,
    ])  # fmt: skip


def _moment(utc_ms: int, view: View) -> str:
    return f"{date(utc_ms, view.zone)} {clock(utc_ms, view.zone, seconds=True)}"


def _site_form(about: dict[str, str], view: View) -> Component:
    words = view.words
    fields = [
        _field(f"label.{name}", {"kind": ids.SITE_ABOUT, "of": name}, LONGEST, view, about.get(name, ""))
        for name in ABOUT
    ]
    fields.append(_field("marks.author", ids.SITE_WHO, 20, view))
    save = html.Button(words("label.save_site"), id=ids.SITE_SAVE, n_clicks=0, className="button")
    legend = html.Legend(words("label.site"))
    return html.Fieldset([legend, html.Div([*fields, save], className="mark-row")], className="mark-form")


def _time_form(view: View) -> Component:
    words = view.words
    options: Any = [{"label": words(f"label.what.{what}"), "value": what} for what in WHAT]
    choice = html.Fieldset(
        [html.Legend(words("label.what")),
         dcc.RadioItems(options, WHAT[0], id=ids.SITE_WHAT, inline=True, className="kinds")],
        className="kind-box choose",
    )  # fmt: skip
    fields = [
        _field("label.from", ids.SITE_FROM, 25, view),
        _field("label.to", ids.SITE_TO, 25, view),
        _field("label.equipment", ids.SITE_EQUIPMENT, LONGEST, view),
        _field("marks.author", ids.SITE_TIME_WHO, 20, view),
    ]
    save = html.Button(words("label.save_time"), id=ids.SITE_TIME_SAVE, n_clicks=0, className="button")
    hint = html.P(words("label.time_hint", zone=view.zone.key), className="soft")
    return html.Fieldset(
        [html.Legend(words("label.time")), hint, choice, html.Div([*fields, save], className="mark-row")],
        className="mark-form",
    )  # fmt: skip


def _field(key: str, of: Any, longest: int, view: View, value: str = "") -> Component:
    field = dcc.Input(id=of, type="text", maxLength=longest, value=value)
    # Around the field: a label can't name one whose id is a pattern.
    return html.Label([html.Span(view.words(key)), field], className="field")


def written(
    settings: Settings, view: View, search: str | None, author: str, drafted: Callable[[str], Draft]
) -> str:
    """Write what is drafted in somebody's name on the module of the address; return what to say."""
    name = signed(author)
    with reading(settings.store) as reader:
        module = choose_module(reader, links.parse(search).module)
    if module is None:
        raise UserError(view.words("empty.text"))
    write(settings.store, module.id, drafted(name), settings.clock())
    return view.words("label.saved")


def fresh(settings: Settings, view: View, search: str | None) -> list[Component]:
    """Return the list anew."""
    with reading(settings.store) as reader:
        module = choose_module(reader, links.parse(search).module)
        return [] if module is None else listed(site_marks(reader, module.id), view)


def save_time(
    settings: Settings, view: View, search: str | None, what: str, parts: tuple[str, str, str, str]
) -> str:
    """Write what the form on a time holds (from, to, equipment, initials); return what to say."""
    begin, end, equipment, author = parts
    with reading(settings.store) as reader:
        module = choose_module(reader, links.parse(search).module)
        span = None if module is None else reader.span(module.id)
    start = moment(begin, view.zone, view.words)
    stop = moment(end, view.zone, view.words) if end.strip() and what != TRIP else None
    return written(
        settings, view, search, author,
        lambda name: about_time(what, (start, stop), equipment, name, span, view.words),
    )  # fmt: skip


def register(app: Dash, settings: Settings) -> None:
    """Add the section's callbacks."""
    _register_saving(app, settings)
    _register_times(app, settings)


def answered(settings: Settings, done: Any, search: str | None) -> tuple[Any, Any]:
    """Do it and return what to say and the list anew; what is refused is said and changes nothing."""
    view = view_of(request.cookies, settings)
    try:
        said = done(view)
    except UserError as error:
        return view.words("marks.failed", reason=str(error)), dash.no_update
    return said, fresh(settings, view, search)


def _register_saving(app: Dash, settings: Settings) -> None:
    @app.callback(
        Output(ids.SITE_STATUS, "children"), Output(ids.SITE_LIST, "children"),
        Input(ids.SITE_SAVE, "n_clicks"), State({"kind": ids.SITE_ABOUT, "of": dash.ALL}, "value"),
        State(ids.SITE_WHO, "value"), State(ids.URL, "search"), prevent_initial_call=True,
    )  # fmt: skip
    def save_site(clicks: int, values: list[str | None], who: str | None, search: str | None) -> Any:
        if not clicks:
            raise PreventUpdate
        about = {name: value or "" for name, value in zip(ABOUT, values, strict=True)}

        def done(view: View) -> str:
            return written(
                settings, view, search, who or "",
                lambda name: about_site(about, name, settings.clock(), view.words),
            )  # fmt: skip

        return answered(settings, done, search)

    @app.callback(
        Output(ids.SITE_STATUS, "children", allow_duplicate=True),
        Output(ids.SITE_LIST, "children", allow_duplicate=True),
        Input(ids.SITE_TIME_SAVE, "n_clicks"), State(ids.URL, "search"), State(ids.SITE_WHAT, "value"),
        State(ids.SITE_FROM, "value"), State(ids.SITE_TO, "value"), State(ids.SITE_EQUIPMENT, "value"),
        State(ids.SITE_TIME_WHO, "value"), prevent_initial_call=True,
    )  # fmt: skip
    def save(clicks: int, search: str | None, what: str, *parts: str | None) -> Any:
        if not clicks:
            raise PreventUpdate
        begin, end, equipment, author = (part or "" for part in parts)
        return answered(
            settings,
            lambda view: save_time(settings, view, search, what, (begin, end, equipment, author)),
            search,
        )

    @app.callback(
        Output(ids.SITE_STATUS, "children", allow_duplicate=True),
        Output(ids.SITE_LIST, "children", allow_duplicate=True),
        Input({"kind": ids.SITE_REMOVE, "mark": dash.ALL}, "n_clicks"), State(ids.SITE_TIME_WHO, "value"),
        State(ids.SITE_WHO, "value"), State(ids.URL, "search"), prevent_initial_call=True,
    )  # fmt: skip
    def take_off(clicks: list[int], who: str | None, other: str | None, search: str | None) -> Any:
        asked: Any = dash.ctx.triggered_id
        if not any(clicks) or not isinstance(asked, dict):
            raise PreventUpdate

        def done(view: View) -> str:
            author = (who or "").strip() or (other or "").strip()
            if not author:
                raise UserError(view.words("label.bad.author"))
            remove(settings.store, int(asked["mark"]), signed(author), settings.clock())
            return view.words("label.removed")

        return answered(settings, done, search)


def _register_times(app: Dash, settings: Settings) -> None:
    @app.callback(
        Output(ids.SITE_FROM, "value"), Output(ids.SITE_TO, "value"),
        Input(ids.SUPPLY_EVENTS, "selectedRows"), prevent_initial_call=True,
    )  # fmt: skip
    def take_times(rows: list[dict[str, Any]] | None) -> Any:
        if not rows or not isinstance(rows[0].get("at"), int):
            raise PreventUpdate
        view = view_of(request.cookies, settings)
        begin = int(rows[0]["at"])
        return _moment(begin, view), _moment(begin + max(1000, round(1000 * float(rows[0]["seconds"]))), view)
