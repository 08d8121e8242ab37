"""Night: the nights by date, one of them on one screen, closer down to a breath, and its alarms in words."""

from collections.abc import Sequence
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate
from flask import request

from dashboard import ids, links
from dashboard.components import attributes, badge, link, notice, reached
from dashboard.figures.frame import Look
from dashboard.figures.night import night_figure
from dashboard.formats import clock, date, span, utc_offset_ms
from dashboard.frames import Alarm, NightFrame
from dashboard.links import Place
from dashboard.morning import Mornings, read_morning
from dashboard.pages import load, marks
from dashboard.phrases import sentences
from dashboard.queries import choose_module, chosen_night, night_frame, nights, reading
from dashboard.settings import Settings
from dashboard.units import night_in
from dashboard.view import View, view_of
from ingest.store.reader import Night

PATH = "/night"
STEPS_MIN_MS = 2000
WIDTH_MAX = 1560
# The words of a night that still goes on are made anew after this long.
WORDS_MS = 600_000
# The curves come first; the words need seconds of work on the whole night.
WORDS_AFTER_MS = 1200


def page(settings: Settings, view: View, search: str | None) -> Component:
    """Return the page, filled for the address; the callback renews it when that changes."""
    words = view.words
    figure, style, title, listed, alarms = answer(settings, view, search)
    return html.Div(
        [
            html.Nav(
                listed, id=ids.NIGHT_LIST, className="nights", **attributes(aria_label=words("night.list"))
            ),
            html.Div(title, id=ids.NIGHT_HEAD, className="night-head"),
            html.Section(
                [
                    html.P(
                        words("night.hint"),
                        id=ids.NIGHT_READOUT,
                        className="readout",
                        **attributes(data_zone=view.zone.key, data_hint=words("night.hint")),
                    ),
                    html.Div(
                        dcc.Graph(
                            id=ids.NIGHT_GRAPH,
                            figure=figure,
                            style=style,
                            config={"displayModeBar": False, "doubleClick": False, "responsive": True},
                            responsive=True,
                        ),
                        role="img",
                        className="figure-box",
                        **attributes(aria_label=words("night.figure")),
                    ),
                ],
                className="night-figure",
            ),
            html.Section(
                [
                    html.H2(words("summary.title")),
                    html.Div(html.P(words("summary.reading"), className="soft"), id=ids.NIGHT_WORDS),
                ],
                className="night-words",
            ),
            html.Section(alarms, id=ids.NIGHT_ALARMS, className="night-alarms"),
            marks.layout(view),
            html.Div(id=ids.NIGHT_MOVED, hidden=True),
            dcc.Store(id=ids.NIGHT_OF),
            dcc.Interval(id=ids.NIGHT_LATER, interval=WORDS_AFTER_MS, max_intervals=1),
            dcc.Store(id=ids.NIGHT_SHOWN, data=[(search or "").lstrip("?"), view.theme]),
        ],
        className="page page-night",
    )


def night_list(found: Sequence[Night], chosen: Night | None, view: View) -> list[Component]:
    """Return the nights by date as links, newest first; none of their data is loaded."""
    words = view.words
    rows = []
    for night in found:
        place = Place(module=night.module, night=night.start)
        said = [
            html.Span(words("night.entry", date=date(night.start, view.zone)), className="day"),
            html.Span(words("night.watched", span=span(night.monitored_ms, words))),
            html.Span(words.count("night.alarms", night.alarms)),
        ]
        current = {"className": "chosen"} if chosen is not None and night.start == chosen.start else {}
        rows.append(html.Li(link(said, links.address(PATH, place), **current)))
    return [html.Ul(rows)]


def head(night: Night, window: tuple[int, int], frame: NightFrame, view: View) -> list[Component]:
    """Return the title, what went unrecorded, and the moves along the night."""
    words = view.words
    dark = sum(one.end - one.start for one in frame.dark)
    said = (
        words("night.coverage", dark=span(dark, words)) if dark >= 1000 else words("night.coverage_none")
    )
    shown = words(
        "night.window",
        start=clock(window[0], view.zone, seconds=window[1] - window[0] < 600_000),
        end=clock(window[1], view.zone, seconds=window[1] - window[0] < 600_000),
    )
    rest = words("now.not_measured", what=words("not_measured"))
    title = words("night.title", date=date(night.start, view.zone))
    moves = html.Nav(
        _moves(night, window, view), className="moves", **attributes(aria_label=words("night.moves"))
    )
    return [
        html.Div([html.H1([title, html.Span(shown, className="span")]), moves], className="title-row"),
        html.P([html.Strong(said), " ", html.Span(rest)], className="lead"),
    ]


def _moves(night: Night, window: tuple[int, int], view: View) -> list[Any]:
    start, end = window
    length = end - start
    middle = (start + end) // 2
    closer = max(length // 3, STEPS_MIN_MS)
    places = (
        ("night.whole", None),
        ("night.earlier", (start - length // 2, end - length // 2)),
        ("night.later", (start + length // 2, end + length // 2)),
        ("night.closer", (middle - closer // 2, middle + closer // 2)),
        ("night.wider", (start - length, end + length)),
    )
    moves = [
        link(
            view.words(key),
            links.address(PATH, Place(module=night.module, night=night.start, window=place)),
            className="button",
        )
        for key, place in places
    ]
    return [*moves, html.A(view.words("night.in_words"), href="#" + ids.NIGHT_WORDS, className="button")]


def alarm_list(alarms: Sequence[Alarm], night: Night, view: View) -> list[Component]:
    """Return the alarms of the window in words; each leads to its place in the curves."""
    words = view.words
    title = html.H2(words("night.alarm_list"))
    if not alarms:
        return [title, html.P(words("night.no_alarms"), className="soft")]
    heads = ("time", "priority", "what", "lasted", "value")
    return [
        title,
        html.Div(
            html.Table(
                [
                    html.Thead(
                        html.Tr([html.Th(words(f"night.column.{name}"), scope="col") for name in heads])
                    ),
                    html.Tbody([html.Tr(_row(alarm, night, view)) for alarm in alarms]),
                ],
                className="ledger",
            ),
            className="ledger-box",
            role="region",
            tabIndex=0,
            **attributes(aria_label=words("night.alarm_list")),
        ),
    ]


def _row(alarm: Alarm, night: Night, view: View) -> list[Component]:
    words = view.words
    window = links.around(alarm.start, alarm.end, view.now)
    place = Place(module=night.module, night=night.start, window=window)
    when = clock(alarm.start, view.zone, seconds=True)
    what = words(alarm.key)
    if alarm.end is None:
        lasted = words("night.cut") if alarm.cut and alarm.end is not None else words("night.standing")
    else:
        lasted = words("night.cut") if alarm.cut else span(alarm.end - alarm.start, words)
    name = words("night.go", what=what, clock=when)
    return [
        html.Td(link(when, links.address(PATH, place), title=name)),
        html.Td(badge(alarm.priority, view)),
        html.Td(what),
        html.Td(lasted),
        html.Td(reached(alarm, view)),
    ]


def look_of(view: View) -> Look:
    """Return how the figure is drawn for a view; the page leaves a margin beside it."""
    return Look(
        words=view.words,
        zone=view.zone,
        theme=view.theme,
        width=min(view.width, WIDTH_MAX) - 2 * (8 if view.phone else 28),
        narrow=view.phone,
        unit=view.unit,
    )


def answer(settings: Settings, view: View, search: str | None) -> tuple[Any, Any, Any, Any, Any]:
    """Return figure, its style, head, list of nights and list of alarms for an address."""
    place = links.parse(search)
    with reading(settings.store) as reader:
        module = choose_module(reader, place.module)
        offset = utc_offset_ms(view.now, view.zone)
        found = [] if module is None else nights(reader, module.id, offset)
        if module is None or not found:
            nothing = notice(view.words("empty.title"), view.words("empty.text"))
            return {}, {"display": "none"}, [nothing], [], []
        night = chosen_night(found, place)
        window = place.window or (night.first, night.last)
        look = look_of(view)
        frame = night_in(night_frame(reader, module, *window, look.plot_width), view.unit)
    figure = night_figure(frame, look)
    return (
        figure,
        {"height": f"{figure['layout']['height']}px"},
        head(night, window, frame, view),
        night_list(found, night, view),
        alarm_list(frame.alarms, night, view),
    )


def in_words(
    settings: Settings, view: View, search: str | None, told: int | None, kept: Mornings
) -> tuple[Any, int | None]:
    """Return the night in words and its start, None when `told` is that night already."""
    place = links.parse(search)
    with reading(settings.store) as reader:
        module = choose_module(reader, place.module)
        found = [] if module is None else nights(reader, module.id, utc_offset_ms(view.now, view.zone))
        if module is None or not found:
            return None, None
        night = chosen_night(found, place)
        if night.start == told:
            return None, told
        noted = sum(mark.recorded for mark in reader.marks(module.id, night.first, night.last))
        key = (night.module, night.start, night.last // WORDS_MS, noted)
        morning = kept.get(key, lambda: read_morning(reader, module, night))
    said = html.Ul(sentences(morning.phrases, night.module, night.start, PATH, view))
    return [said, *load.sections(morning, PATH, view)], night.start


def register(app: Dash, settings: Settings) -> None:
    """Add the page's callbacks."""
    kept = Mornings()
    marks.register(app, settings, PATH)

    @app.callback(
        Output(ids.NIGHT_GRAPH, "figure"), Output(ids.NIGHT_GRAPH, "style"),
        Output(ids.NIGHT_HEAD, "children"),
        Output(ids.NIGHT_LIST, "children"), Output(ids.NIGHT_ALARMS, "children"),
        Output(ids.NIGHT_SHOWN, "data"),
        Input(ids.URL, "search"), Input(ids.THEME, "data"), State(ids.NIGHT_SHOWN, "data"),
        prevent_initial_call=True,
    )  # fmt: skip
    def show(search: str | None, theme: str, shown: list[str]) -> tuple[Any, ...]:
        asked = [(search or "").lstrip("?"), theme]
        if asked == shown:
            raise PreventUpdate
        return *answer(settings, view_of(request.cookies, settings), search), asked

    # After the curves: the words need the whole night second by second.
    @app.callback(
        Output(ids.NIGHT_WORDS, "children"), Output(ids.NIGHT_OF, "data"),
        Input(ids.NIGHT_SHOWN, "data"), Input(ids.NIGHT_LATER, "n_intervals"),
        State(ids.URL, "search"), State(ids.NIGHT_OF, "data"), prevent_initial_call=True,
    )  # fmt: skip
    def put_into_words(_: Any, __: int, search: str | None, told: int | None) -> tuple[Any, Any]:
        said, night = in_words(settings, view_of(request.cookies, settings), search, told, kept)
        if said is None:
            raise PreventUpdate
        return said, night

    app.clientside_callback(
        ClientsideFunction("nightkeel", "go"),
        Output(ids.URL, "search"),
        Input(ids.NIGHT_GRAPH, "relayoutData"),
        Input(ids.NIGHT_GRAPH, "clickData"),
        State(ids.URL, "search"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("nightkeel", "read"),
        Output(ids.NIGHT_MOVED, "children"),
        Input(ids.NIGHT_GRAPH, "hoverData"),
    )
