"""Supply: the site at a glance, its events against the envelopes, their waveforms, calendar of outages."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import dash_ag_grid as dag
from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate
from flask import request

from dashboard import ids, links
from dashboard.components import attributes, link, notice
from dashboard.figures import supply as figures
from dashboard.formats import DAY, MISSING, clock, date, number, span
from dashboard.links import Place
from dashboard.pages import site
from dashboard.pages.night import look_of
from dashboard.queries import choose_module, reading
from dashboard.settings import Settings
from dashboard.site_marks import site_marks
from dashboard.supply_words import length
from dashboard.texts import Words
from dashboard.view import View, view_of
from ingest.analysis.supply import classify
from ingest.analysis.supply.records import Figure, SupplyEvent
from ingest.store.reader import Module, Reader

if TYPE_CHECKING:
    from dashboard.supply_queries import CaptureFrame, SupplyFrame

PATH = "/supply"
ROWS = ("availability", "inside", "dip", "swell", "interruption")
GRAPH: Any = {"displayModeBar": False, "doubleClick": False, "responsive": True}
ONE_COLUMN = {"gridTemplateColumns": "minmax(0, 1fr)"}
WEEKS_4 = 28 * DAY
# Names by which the analysis knows a figure that the page calls otherwise.
ROW_OF = {"time outside +-10 %": "inside"}


def page(settings: Settings, view: View, search: str | None) -> Component:
    """Return the page, filled for the address."""
    words = view.words
    with reading(settings.store) as reader:
        found = asked(reader, search)
        if found is None:
            return notice(words("empty.title"), words("empty.text"))
        module, start, end, whole = found
        frame = _frame(reader, module, (start, end), view)
        others = [one for one in reader.modules() if one.id != module.id]
        marks = site_marks(reader, module.id)
    return html.Div(
        [
            html.Div(head(frame, whole, view), className="night-head"),
            html.Section([compare(others, view), html.Div(glance(frame, None, view), id=ids.SUPPLY_GLANCE)]),
            html.Div([plane(frame, view), week(frame, view)], className="supply-pair"),
            html.Div(days(frame, view), className="supply-pair", style=ONE_COLUMN),
            html.Section(events(frame, view), className="supply-events"),
            dcc.Store(id=ids.SUPPLY_CHOSEN),
            html.Section(
                html.P(words("supply.capture_hint"), className="soft"), id=ids.SUPPLY_CAPTURE,
                **attributes(aria_live="polite"),
            ),
            site.layout(marks, view),
        ],
        className="page page-supply",
    )  # fmt: skip


def asked(reader: Reader, search: str | None) -> tuple[Module, int, int, tuple[int, int]] | None:
    """Return module, period and all that is recorded of it; None for an empty store."""
    from dashboard.supply_queries import usual_period

    place = links.parse(search)
    module = choose_module(reader, place.module)
    whole = None if module is None else reader.span(module.id)
    if module is None or whole is None:
        return None
    start, end = place.window or usual_period(reader, module.id) or whole
    return module, start, end, whole


def _frame(reader: Reader, module: Module, window: tuple[int, int], view: View) -> "SupplyFrame":
    # The analysis brings its compiler and filters along: only who opens this page waits for them.
    from dashboard.supply_queries import supply_frame

    return supply_frame(reader, module, *window, view.zone)


def head(frame: "SupplyFrame", whole: tuple[int, int], view: View) -> list[Component]:
    """Return the title, what was not watched, and the moves."""
    words = view.words
    dark = (frame.end - frame.start) * (1 - frame.coverage_percent / 100)
    percent = number(frame.coverage_percent, 1)
    lengths = {"whole": span(frame.end - frame.start, words), "percent": percent}
    said = (
        words("study.lead", dark=span(dark, words), **lengths)
        if dark >= 1000
        else words("study.lead_none", **lengths)
    )
    shown = words("supply.period", start=_day(frame.start, view), end=_day(frame.end, view))
    moves = html.Nav(_moves(frame, whole, view), className="moves",
                     **attributes(aria_label=words("supply.moves")))  # fmt: skip
    title = html.H1([words("supply.title"), html.Span(shown, className="span")])
    lead: list[Any] = [html.Strong(said), " ", html.Span(words("study.not_measured", order=25))]
    lines = [html.Div([title, moves], className="title-row"), html.P(lead, className="lead")]
    if frame.end - frame.start < WEEKS_4:
        lines.append(html.P(words("supply.short"), className="soft"))
    if frame.nominal_v is None:
        lines.append(html.P(words("study.note.nominal unknown", count=1, span="", at=""), className="lead"))
    return lines


def _day(utc_ms: int, view: View) -> str:
    return f"{date(utc_ms, view.zone)} {clock(utc_ms, view.zone)}"


def _moves(frame: "SupplyFrame", whole: tuple[int, int], view: View) -> list[Component]:
    start, end, last = frame.start, frame.end, whole[1]
    size = end - start
    places = (
        ("supply.whole", whole),
        ("supply.weeks", (max(whole[0], last - WEEKS_4), last)),
        ("supply.week", (max(whole[0], last - 7 * DAY), last)),
        ("supply.earlier", (start - size, start)),
        ("supply.later", (end, end + size)),
    )
    return [
        link(view.words(key), links.address(PATH, Place(module=frame.module.id, window=window)),
             className="button", refresh=True)
        for key, window in places
    ]  # fmt: skip


def compare(others: Sequence[Module], view: View) -> Component:
    """Return the choice of what to compare with."""
    words = view.words
    options = [{"label": words(f"supply.compare.{key}"), "value": key} for key in ("none", "before")]
    options += [
        {"label": words("supply.compare.module", module=f"{one.id:08x}"), "value": f"{one.id:08x}"}
        for one in others
    ]
    legend = html.Legend(words("supply.compare"))
    return html.Fieldset(
        [legend, dcc.RadioItems(options, "none", id=ids.SUPPLY_COMPARE, inline=True)], className="choose"
    )


def glance(frame: "SupplyFrame", other: "SupplyFrame | None", view: View) -> Component:
    """Return the site at a glance: each figure with its bounds and the part of the time it rests on."""
    words = view.words
    shown = [frame] if other is None else [frame, other]
    heads = ["", words("supply.this"), *([words("supply.that")] if other is not None else [])]
    body = [
        html.Tr([html.Th(words("supply.row.coverage"), scope="row"),
                 *(html.Td(f"{words.number(number(one.coverage_percent, 1))} %") for one in shown)])
    ]  # fmt: skip
    for name in ROWS:
        cells = [html.Td(_said(_figure(one, name), words)) for one in shown]
        body.append(html.Tr([html.Th(words(f"supply.row.{name}"), scope="row"), *cells]))
    top = html.Thead(html.Tr([html.Th(text, scope="col") if text else html.Td() for text in heads]))
    return html.Table([top, html.Tbody(body)], className="ledger glance")


def _figure(frame: "SupplyFrame", name: str) -> Figure | None:
    return next((one for one in frame.figures if ROW_OF.get(one.name, one.name) == name), None)


def _said(one: Figure | None, words: Words) -> str:
    if one is None:
        return MISSING
    if one.value is None:
        return words("study.missing", reason=words(f"study.reason.{one.reason}"))
    unit = one.unit
    if one.low is None or one.high is None:
        return words("supply.value", value=number(one.value, 1), unit=unit)
    low, high = number(one.low, 2), number(one.high, 2)
    return words("supply.bounds", value=number(one.value, 2), unit=unit, low=low, high=high)


def _point(view: View) -> Callable[[SupplyEvent], str]:
    def said(event: SupplyEvent) -> str:
        return view.words(
            "supply.point", kind=view.words(f"study.kind.{event.kind}"), length=length(event, view.words),
            extreme=number(100 * event.extreme_pu, 1), start=_moment(event.start_s, view),
        )  # fmt: skip

    return said


def _moment(seconds: float, view: View) -> str:
    at = round(seconds * 1000)
    return f"{date(at, view.zone)} {clock(at, view.zone, seconds=True)}"


def plane(frame: "SupplyFrame", view: View) -> Component:
    """Return magnitude against duration."""
    words, drawn = view.words, _plane(frame, None, view)
    note = words("supply.plane_note")
    return _figure_box("plane", words("supply.plane"), note, drawn, ids.SUPPLY_PLANE, view)


def _plane(frame: "SupplyFrame", other: "SupplyFrame | None", view: View) -> figures.Figure:
    beside = () if other is None else other.events
    return figures.magnitude_duration(frame.events, beside, look_of(view), _point(view))


def week(frame: "SupplyFrame", view: View) -> Component:
    """Return the calendar of interruptions."""
    words, drawn = view.words, _week(frame, view)
    note = words("supply.calendar_note", zone=view.zone.key)
    return _figure_box("calendar", words("supply.calendar"), note, drawn, ids.SUPPLY_CALENDAR, view)


def _week(frame: "SupplyFrame", view: View) -> figures.Figure:
    words, found = view.words, frame.week

    def said(day: int, hour: int) -> str:
        at, name = (day, hour), words(f"study.day.{day}")
        if found.watched_h[at] <= 0:
            return words("supply.cell_dark", day=name, hour=hour)
        return words(
            "supply.cell", day=name, hour=hour, begun=number(float(found.begun[at]), 0),
            minutes=number(float(found.minutes[at]), 1), watched=number(float(found.watched_h[at]), 1),
        )  # fmt: skip

    return figures.calendar(found, look_of(view), said)


def days(frame: "SupplyFrame", view: View) -> Component:
    """Return the days with their interruptions."""
    words, drawn = view.words, _days(frame, view)
    note = words("supply.calendar_note", zone=view.zone.key)
    return _figure_box("days", words("supply.days"), note, drawn, ids.SUPPLY_DAYS, view)


def _days(frame: "SupplyFrame", view: View) -> figures.Figure:
    words, found = view.words, frame.days

    def said(number_: int) -> str:
        day = found.days[number_].isoformat()
        if found.watched_h[number_] <= 0:
            return words("supply.day_dark", day=day)
        return words(
            "supply.day", day=day, begun=number(float(found.begun[number_]), 0),
            minutes=number(float(found.minutes[number_]), 1),
            watched=number(float(found.watched_h[number_]), 1),
        )  # fmt: skip

    return figures.days(found, look_of(view), said)


def _figure_box(
    name: str, title: str, note: str, drawn: dict[str, Any], place: str, view: View
) -> Component:
    label = attributes(aria_label=view.words(f"supply.{name}_label"))
    style = {"height": f"{drawn['layout']['height']}px"}
    graph = dcc.Graph(id=place, figure=drawn, config=GRAPH, style=style, responsive=True)
    return html.Section(
        [html.H2(title), html.P(note, className="soft"), html.Div(graph, role="img", **label)]
    )


def events(frame: "SupplyFrame", view: View) -> list[Component]:
    """Return the events as a table that sorts and filters."""
    words = view.words
    title = html.H2(words("supply.events"))
    if not frame.events:
        return [title, html.P(words("supply.no_events"), className="soft")]
    number_filter, text_filter = "agNumberColumnFilter", "agTextColumnFilter"
    columns = [
        ("start", "study.column.start", text_filter, 215),
        ("kind", "study.column.kind", text_filter, 130),
        ("seconds", "supply.seconds", number_filter, 130),
        ("extreme", "study.column.extreme", number_filter, 150),
        ("cell", "study.column.cell", text_filter, 130),
        ("itic", "study.column.itic", text_filter, 180),
    ]
    grid = dag.AgGrid(
        id=ids.SUPPLY_EVENTS,
        columnDefs=[
            {"field": field, "headerName": words(key), "filter": kind, "floatingFilter": True,
             "minWidth": width, "sortable": True}
            for field, key, kind, width in columns
        ],
        rowData=[event_row(event, view) for event in frame.events],
        columnSize="responsiveSizeToFit",
        dashGridOptions={
            "rowSelection": {"mode": "singleRow", "checkboxes": False, "enableClickSelection": True},
            "suppressMenuHide": True, "animateRows": False, "rowHeight": 44, "headerHeight": 44,
            "localeText": {"noRowsToShow": words("supply.no_events"), "filterOoo": words("supply.filter")},
        },
        className="supply-grid",
        style={"height": f"{min(44 * (len(frame.events) + 2) + 60, 480)}px"},
    )  # fmt: skip
    return [title, html.P(words("supply.events_hint"), className="soft"), grid]


def event_row(event: SupplyEvent, view: View) -> dict[str, Any]:
    """Return an event as a row; times as text that sorts, lengths in s."""
    words, whole = view.words, event.kind in ("dip", "swell")
    cell = classify.dip_cell if event.kind == "dip" else classify.swell_cell
    region = classify.itic_position(event.extreme_pu, event.duration_s)
    return {
        "at": round(event.start_s * 1000),
        "start": _moment(event.start_s, view),
        "kind": words(f"study.kind.{event.kind}"),
        "seconds": round(event.duration_s, 3),
        "extreme": round(100 * event.extreme_pu, 1),
        "cell": (cell(event.extreme_pu, event.duration_s) or MISSING) if whole else MISSING,
        "itic": words(f"study.region.{region}") if whole else MISSING,
    }


def capture(found: "CaptureFrame | None", event: SupplyEvent, view: View) -> list[Component]:
    """Return the waveform of an event with its half-cycle rms and harmonics."""
    words = view.words
    named = {"kind": words(f"study.kind.{event.kind}"), "start": _moment(event.start_s, view)}
    if found is None:
        return [html.P(words("supply.capture_none", **named), className="soft")]
    look = look_of(view)
    wave = figures.waveform(found.ms, found.volts, found.rms_ms, found.rms_v, look)
    parts: list[Component] = [html.H2(words("supply.capture", **named))]
    if not found.complete:
        parts.append(html.P(words("supply.capture_lost"), className="soft"))
    if found.disturbance is not None:
        name = words(f"study.disturbance.{found.disturbance}")
        parts.append(html.P(words("supply.capture_named", name=name)))
    beside: Component = html.P(words("supply.harmonics_none"), className="soft")
    if found.before is not None or found.after is not None:
        bars = figures.harmonics(found.before, found.after, look)
        said = html.P(words("supply.harmonics"), className="soft")
        beside = html.Div([said, _graph(bars, "supply.harmonics_label", view)])
    pair = html.Div([_graph(wave, "supply.wave_label", view), beside], className="supply-pair wide-left")
    return [*parts, pair]


def _graph(drawn: dict[str, Any], key: str, view: View) -> Component:
    style = {"height": f"{drawn['layout']['height']}px"}
    graph = dcc.Graph(figure=drawn, config=GRAPH, style=style, responsive=True)
    return html.Div(graph, role="img", **attributes(aria_label=view.words(key)))


def compared(
    reader: Reader, module: Module, start: int, end: int, choice: str, view: View
) -> "SupplyFrame | None":
    """Return what to compare with: the period before, another module, or nothing."""
    if choice == "before":
        return _frame(reader, module, (start - (end - start), start), view)
    other = next((one for one in reader.modules() if f"{one.id:08x}" == choice), None)
    return None if other is None else _frame(reader, other, (start, end), view)


def show_event(settings: Settings, view: View, search: str | None, at: int) -> list[Component]:
    """Return the capture of the event that began at a UTC ms."""
    from dashboard.supply_queries import capture_frame

    with reading(settings.store) as reader:
        found = asked(reader, search)
        if found is None:
            return []
        module, start, end, _ = found
        frame = _frame(reader, module, (start, end), view)
        event = next((e for e in frame.events if round(e.start_s * 1000) == at), None)
        if event is None:
            return []
        return capture(capture_frame(reader, module, event), event, view)


def register(app: Dash, settings: Settings) -> None:
    """Add the page's callbacks."""
    site.register(app, settings)

    @app.callback(
        Output(ids.SUPPLY_GLANCE, "children"), Output(ids.SUPPLY_PLANE, "figure"),
        Output(ids.SUPPLY_CALENDAR, "figure"), Output(ids.SUPPLY_DAYS, "figure"),
        Input(ids.SUPPLY_COMPARE, "value"), Input(ids.THEME, "data"), State(ids.URL, "search"),
        prevent_initial_call=True,
    )  # fmt: skip
    def against(choice: str, _: str, search: str | None) -> tuple[Any, ...]:
        view = view_of(request.cookies, settings)
        with reading(settings.store) as reader:
            found = asked(reader, search)
            if found is None:
                raise PreventUpdate
            module, start, end, _whole = found
            frame = _frame(reader, module, (start, end), view)
            other = compared(reader, module, start, end, str(choice), view)
        return glance(frame, other, view), _plane(frame, other, view), _week(frame, view), _days(frame, view)

    @app.callback(
        Output(ids.SUPPLY_CHOSEN, "data"),
        Input(ids.SUPPLY_EVENTS, "selectedRows"), prevent_initial_call=True,
    )  # fmt: skip
    def chosen(rows: list[dict[str, Any]] | None) -> int:
        return event_at(rows[0].get("at") if rows else None)

    @app.callback(
        Output(ids.SUPPLY_CHOSEN, "data", allow_duplicate=True),
        Input(ids.SUPPLY_PLANE, "clickData"), prevent_initial_call=True,
    )  # fmt: skip
    def pointed(click: dict[str, Any] | None) -> int:
        points = (click or {}).get("points") or [{}]
        return event_at(points[0].get("customdata"))

    @app.callback(
        Output(ids.SUPPLY_CAPTURE, "children"),
        Input(ids.SUPPLY_CHOSEN, "data"), Input(ids.THEME, "data"), State(ids.URL, "search"),
        prevent_initial_call=True,
    )  # fmt: skip
    def show(at: object, _: str, search: str | None) -> list[Component]:
        return show_event(settings, view_of(request.cookies, settings), search, event_at(at))


def event_at(at: object) -> int:
    """Return the start that a click named an event by, UTC ms; raise PreventUpdate for anything else."""
    if not isinstance(at, int):
        raise PreventUpdate
    return at
