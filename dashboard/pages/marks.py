"""Marks of a night: write one at a moment, change it with its history kept, search all nights."""

from collections.abc import Callable, Sequence
from typing import Any

import dash
from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate
from flask import request

from dashboard import ids, links
from dashboard.access import signed
from dashboard.components import attributes, link
from dashboard.formats import clock, date, utc_offset_ms
from dashboard.links import Place
from dashboard.marking import KINDS, Draft, change, time_in_night, write
from dashboard.queries import choose_module, night_at, reading
from dashboard.settings import Settings
from dashboard.texts import Words
from dashboard.view import View, view_of
from ingest.analysis.mark_kinds import notes
from ingest.errors import UserError
from ingest.store.reader import Mark, Reader

FOUND_MAX = 50
AROUND_MS = 60_000


def layout(view: View) -> Component:
    """Return the section; its list is filled by the callbacks."""
    words = view.words
    return html.Section(
        [
            html.H2(words("marks.title")),
            html.Ul(id=ids.MARKS_LIST, className="marks"),
            _form(words),
            html.Div(
                [
                    _line("marks.search", ids.MARKS_WORDS, 80, words),
                    html.Button(words("marks.find"), id=ids.MARKS_FIND, className="button", n_clicks=0),
                ],
                className="mark-row",
                role="search",
            ),
            html.Div(id=ids.MARKS_FOUND, role="status", **attributes(aria_live="polite")),
            dcc.Store(id=ids.MARKS_EDITED),
            dcc.Store(id=ids.MARKS_WRITTEN, data=0),
        ],
        className="night-marks",
    )


def _form(words: Words) -> Component:
    text = dcc.Textarea(id=ids.MARKS_TEXT, maxLength=4000, rows=2)
    return html.Fieldset(
        [
            html.Legend(words("marks.new"), id=ids.MARKS_TITLE),
            html.Div(
                [
                    _line("marks.time", ids.MARKS_TIME, 8, words),
                    _line("marks.author", ids.MARKS_AUTHOR, 20, words),
                ],
                className="mark-row",
            ),
            html.Fieldset(
                [
                    html.Legend(words("marks.category")),
                    html.Div(_kinds(KINDS[0], words), id=ids.MARKS_KINDS, className="kinds"),
                    dcc.Store(id=ids.MARKS_KIND, data=KINDS[0]),
                ],
                className="kind-box",
            ),
            _labelled("marks.text", text, words),
            html.Div(
                [
                    html.Button(words("marks.save"), id=ids.MARKS_SAVE, className="button", n_clicks=0),
                    html.Button(
                        words("marks.stop"), id=ids.MARKS_STOP, className="button", n_clicks=0, hidden=True
                    ),
                    html.P(id=ids.MARKS_STATUS, className="answer", role="status"),
                ],
                className="mark-row",
            ),
        ],
        id=ids.MARKS_FORM,
        className="mark-form",
    )


def _kinds(chosen: str, words: Words) -> list[Component]:
    """Return one button a category; the chosen one says so to eyes and to screen readers."""
    return [
        html.Button(
            words(f"mark.kind.{kind}"),
            id={"kind": ids.MARKS_CHOOSE, "value": kind},
            n_clicks=0,
            **attributes(aria_pressed="true" if kind == chosen else "false"),
        )
        for kind in KINDS
    ]


def _line(key: str, of: str, longest: int, words: Words) -> Component:
    return _labelled(key, dcc.Input(id=of, type="text", maxLength=longest), words)


def _labelled(key: str, field: Component, words: Words) -> Component:
    named: Any = field
    return html.Div([html.Label(words(key), htmlFor=named.id), field], className="field")


def kind_word(kind: str, words: Words) -> str:
    """Return a mark's category in words; one that another part of the system wrote, as it wrote it."""
    key = f"mark.kind.{kind}"
    return words(key) if words.has(key) else words("data", text=kind)


def items(reader: Reader, marks: Sequence[Mark], path: str, view: View, *, dated: bool) -> list[Component]:
    """Return marks as list items: a link to its place, who, what, a way to change it, earlier versions."""
    return [_item(reader, mark, path, view, dated=dated) for mark in marks]


def _item(reader: Reader, mark: Mark, path: str, view: View, *, dated: bool) -> Component:
    words = view.words
    when = clock(mark.utc, view.zone, seconds=True)
    if dated:
        when = words("time.day", date=date(mark.utc, view.zone), clock=when)
    window = links.around(mark.utc - AROUND_MS, mark.utc_end or mark.utc + AROUND_MS, view.now)
    place = links.address(path, Place(module=mark.module, window=window))
    button = html.Button(
        words("marks.edit"),
        id={"kind": ids.MARKS_EDIT, "mark": mark.mark},
        className="button",
        n_clicks=0,
        **attributes(aria_label=words("marks.edit_of", clock=when)),
    )
    parts: list[Component] = [
        link(when, place),
        html.Span(words("data", text=mark.author), className="author"),
        html.B(kind_word(mark.kind, words)),
        html.Span(words("data", text=mark.text), className="typed"),
    ]
    if not dated:
        parts.append(button)
    if mark.version > 1:
        older = reader.mark_history(mark.mark)[:-1]
        parts.append(html.Details([html.Summary(words("marks.history")), _history(older, view)]))
    return html.Li(parts)


def _history(older: Sequence[Mark], view: View) -> Component:
    words = view.words
    return html.Ul(
        [
            html.Li(
                words(
                    "marks.version",
                    recorded=clock(one.recorded, view.zone, seconds=True),
                    author=words("data", text=one.author),
                    kind=kind_word(one.kind, words),
                    text=words("data", text=one.text),
                )
            )
            for one in older
        ]
    )


def listed(settings: Settings, view: View, search: str | None, path: str) -> tuple[list[Component], str]:
    """Return the marks of the night at an address, and the time in the middle of its window."""
    place = links.parse(search)
    with reading(settings.store) as reader:
        night = night_at(reader, place, utc_offset_ms(view.now, view.zone))
        if night is None:
            return [], ""
        found = notes(reader.marks(night.module, night.first, night.end))
        said = items(reader, found, path, view, dated=False)
    window = place.window or (night.first, night.last)
    middle = clock((window[0] + window[1]) // 2, view.zone, seconds=True)
    return said or [html.Li(view.words("marks.none"), className="soft")], middle


def saved(
    settings: Settings, view: View, search: str | None, edited: int | None, written: tuple[str, str, str, str]
) -> tuple[bool, str]:
    """Write what the form holds (time, kind, initials, text); return whether it was, and what to say."""
    words = view.words
    when, kind, author, text = written
    try:
        with reading(settings.store) as reader:
            night = night_at(reader, links.parse(search), utc_offset_ms(view.now, view.zone))
        utc = None if night is None else time_in_night(when, night.start, night.end, view.zone)
        if night is None or utc is None:
            return False, words("marks.bad_time")
        if not author.strip():
            return False, words("marks.bad_author")
        kind = kind if kind in _kinds_for(settings, edited) else KINDS[0]
        draft = Draft(utc=utc, kind=kind, author=signed(author.strip()), text=text)
        if edited is None:
            write(settings.store, night.module, draft, settings.clock())
        else:
            change(settings.store, edited, draft, settings.clock())
    except UserError as error:
        return False, words("marks.failed", reason=str(error))
    return True, words("marks.saved")


def _kinds_for(settings: Settings, edited: int | None) -> tuple[str, ...]:
    """Return what a mark may be called: one that another page wrote keeps its own kind as well."""
    if edited is None:
        return KINDS
    with reading(settings.store) as reader:
        return (*KINDS, reader.mark_history(edited)[-1].kind)


def found_marks(
    settings: Settings, view: View, search: str | None, wanted: str, path: str
) -> list[Component]:
    """Return the newest marks of this module whose text, author or category holds the words, any night."""
    words = view.words
    with reading(settings.store) as reader:
        module = choose_module(reader, links.parse(search).module)
        if module is None or not wanted.strip():
            return []
        low = wanted.strip().casefold()
        marks = [
            one
            for one in notes(reader.marks(module.id))
            if low in f"{one.text} {one.author} {kind_word(one.kind, words)}".casefold()
        ]
        if not marks:
            return [html.P(words("marks.nothing"), className="soft")]
        rows = items(reader, marks[: -FOUND_MAX - 1 : -1], path, view, dated=True)
    return [html.P(words("marks.found", count=len(marks))), html.Ul(rows, className="marks")]


def register(app: Dash, settings: Settings, path: str) -> None:
    """Add the section's callbacks; `path` is the page that shows a night."""

    def view() -> View:
        return view_of(request.cookies, settings)

    _register_form(app, settings, view)

    @app.callback(
        Output(ids.MARKS_LIST, "children"), Output(ids.MARKS_TIME, "value"),
        Input(ids.NIGHT_SHOWN, "data"), Input(ids.MARKS_WRITTEN, "data"), State(ids.URL, "search"),
    )  # fmt: skip
    def show(_: Any, __: int, search: str | None) -> tuple[Any, Any]:
        return listed(settings, view(), search, path)

    # Only the attribute is renewed: the button keeps the focus of who works by keyboard.
    @app.callback(
        Output({"kind": ids.MARKS_CHOOSE, "value": dash.ALL}, "aria-pressed"), Input(ids.MARKS_KIND, "data"),
        State({"kind": ids.MARKS_CHOOSE, "value": dash.ALL}, "id"),
    )  # fmt: skip
    def mark_chosen(chosen: str, buttons: list[dict[str, str]]) -> Any:
        return ["true" if one["value"] == chosen else "false" for one in buttons]

    @app.callback(
        Output(ids.MARKS_TITLE, "children"), Output(ids.MARKS_STOP, "hidden"), Input(ids.MARKS_EDITED, "data")
    )
    def title(edited: int | None) -> tuple[str, bool]:
        words = view().words
        return words("marks.new") if edited is None else words("marks.change", number=edited), edited is None

    @app.callback(
        Output(ids.MARKS_FOUND, "children"),
        Input(ids.MARKS_FIND, "n_clicks"), Input(ids.MARKS_WORDS, "n_submit"),
        State(ids.MARKS_WORDS, "value"), State(ids.URL, "search"),
        prevent_initial_call=True,
    )  # fmt: skip
    def find(_: int, __: int | None, wanted: str | None, search: str | None) -> Any:
        return found_marks(settings, view(), search, wanted or "", path)


def _register_form(app: Dash, settings: Settings, view: Callable[[], View]) -> None:
    """Add what the form does: write, take up a mark again, choose its category."""

    @app.callback(
        Output(ids.MARKS_STATUS, "children"), Output(ids.MARKS_WRITTEN, "data"),
        Output(ids.MARKS_TEXT, "value"), Output(ids.MARKS_EDITED, "data"),
        Input(ids.MARKS_SAVE, "n_clicks"),
        State(ids.URL, "search"), State(ids.MARKS_EDITED, "data"), State(ids.MARKS_WRITTEN, "data"),
        State(ids.MARKS_TIME, "value"), State(ids.MARKS_KIND, "data"), State(ids.MARKS_AUTHOR, "value"),
        State(ids.MARKS_TEXT, "value"),
        prevent_initial_call=True,
    )  # fmt: skip
    def save(clicks: int, search: str | None, edited: int | None, count: int, *written: str | None) -> Any:
        if not clicks:
            raise PreventUpdate
        when, kind, author, text = (part or "" for part in written)
        done, said = saved(settings, view(), search, edited, (when, kind, author, text))
        if not done:
            return said, dash.no_update, dash.no_update, dash.no_update
        return said, count + 1, "", None

    @app.callback(
        Output(ids.MARKS_EDITED, "data", allow_duplicate=True),
        Output(ids.MARKS_TIME, "value", allow_duplicate=True), Output(ids.MARKS_KIND, "data"),
        Output(ids.MARKS_TEXT, "value", allow_duplicate=True),
        Input({"kind": ids.MARKS_EDIT, "mark": dash.ALL}, "n_clicks"), Input(ids.MARKS_STOP, "n_clicks"),
        prevent_initial_call=True,
    )  # fmt: skip
    def edit(clicks: list[int], _: int) -> tuple[Any, ...]:
        asked: Any = dash.ctx.triggered_id
        if asked == ids.MARKS_STOP:
            return None, dash.no_update, KINDS[0], ""
        if not any(clicks) or not isinstance(asked, dict):
            raise PreventUpdate
        with reading(settings.store) as reader:
            mark = reader.mark_history(int(asked["mark"]))[-1]
        return mark.mark, clock(mark.utc, view().zone, seconds=True), mark.kind, mark.text

    @app.callback(
        Output(ids.MARKS_KIND, "data", allow_duplicate=True),
        Input({"kind": ids.MARKS_CHOOSE, "value": dash.ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
    def choose(clicks: list[int]) -> Any:
        asked: Any = dash.ctx.triggered_id
        if not any(clicks) or asked is None or asked["value"] not in KINDS:
            raise PreventUpdate
        return asked["value"]
