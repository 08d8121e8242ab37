"""Bench: for the engineer. Codes beside values, link, memory, clock, starts; faults on an emulated bed."""

from typing import Any

import dash
from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate
from flask import request

from dashboard import ids
from dashboard.access import signed
from dashboard.benching import LINE_BYTES_S, Bench, ChannelRow, bench, play, rig_of
from dashboard.check_words import when
from dashboard.components import attributes, notice, since
from dashboard.figures.clock_fit import residual_figure
from dashboard.figures.frame import Look
from dashboard.formats import DAY, MISSING, date, number, span
from dashboard.links import parse
from dashboard.queries import choose_module, reading
from dashboard.refusing import refusal
from dashboard.settings import Settings
from dashboard.units import in_unit, unit_word
from dashboard.view import View, view_of
from ingest.errors import UserError
from ingest.store.reader import Module

__all__ = ["PATH", "page", "register"]

PATH = "/bench"
POLL_MS = 5000
FIGURE_WIDTH_MAX = 900
DIGITS = {"supply_in": 2, "supply_out": 2, "pressure": 2, "oxygen": 2, "rail": 3, "product_pressure": 1,
          "battery_voltage": 2, "ups_current": 2, "surge_peak": 0}  # fmt: skip


def page(settings: Settings, view: View, search: str | None) -> Component:
    """Return the page, filled; the callback renews all but what a person types."""
    words = view.words
    found = stand(settings, view, search)
    if found is None:
        return notice(words("empty.title"), words("empty.text"))
    return html.Div(
        [
            html.H1(words("bench.title")),
            html.Div(shown(found, view), id=ids.BENCH_SHOWN),
            html.Section([html.H2(words("bench.faults")), *faults(settings, found.module, view)],
                         className="bench-faults"),
            dcc.Interval(id=ids.BENCH_TICK, interval=POLL_MS),
        ],
        className="page page-bench",
    )  # fmt: skip


def stand(settings: Settings, view: View, search: str | None) -> Bench | None:
    """Return what the module shown says of itself, None for an empty store."""
    with reading(settings.store) as reader:
        module = choose_module(reader, parse(search).module)
        return None if module is None else bench(reader, module, view.now)


def shown(found: Bench, view: View) -> list[Component]:
    """Return everything that is measured."""
    words = view.words
    if found.t is None:
        return [html.P(words("bench.nothing"))]
    return [
        html.P(since(found.t, view, "bench.lead"), className="lead"),
        html.Section([html.H2(words("bench.channels")), channels(found, view),
                      html.P(words("bench.how"), className="soft")]),
        html.Section([html.H2(words("bench.link")), *link(found, view)]),
        html.Section([html.H2(words("bench.module")), *module_said(found, view)]),
        html.Section([html.H2(words("bench.clock")), *clock_model(found, view)]),
        html.Section([html.H2(words("bench.starts")), *starts(found, view)]),
    ]  # fmt: skip


def channels(found: Bench, view: View) -> Component:
    """Return one row a channel: codes and value side by side; on a phone one under another."""
    words = view.words
    heads = [words(f"bench.{key}") for key in ("channel", "codes", "value", "acts", "vouches")]
    rows = [html.Tr([_cell(head, part) for head, part in zip(heads, _row(one, view), strict=True)])
            for one in found.channels if one.code is not None]  # fmt: skip
    top = html.Thead(html.Tr([html.Th(head, scope="col") for head in heads]))
    missing = [words(f"channel.{one.name}") for one in found.channels if one.code is None]
    said = [words("bench.not_fitted", channels=words("list.join").join(missing))] if missing else []
    table = html.Table([top, html.Tbody(rows)], className="bench-channels")
    return html.Div([table, *(html.P(one, className="soft") for one in said)])


def _cell(head: str, parts: list[Component]) -> Component:
    # On a phone the heads are gone and each cell says its own.
    return html.Td([html.Span(head, className="cell-head", **attributes(aria_hidden="true")), *parts])


def _row(one: ChannelRow, view: View) -> list[list[Component]]:
    words = view.words
    name: list[Component] = [html.Strong(words(f"channel.{one.name}"))]
    if one.condition != "ok":
        name.append(html.Span(words(f"sensor.{one.condition}"), className="use-confirm"))
    mean, low, high = one.code or (None, None, None)
    codes = words("bench.code", mean=number(mean, 2), low=number(low, 0), high=number(high, 0))
    value = MISSING
    if one.value is not None:
        is_pressure = one.name == "pressure"
        unit = unit_word(view.unit, words) if is_pressure else words("data", text=one.unit)
        reading_shown = in_unit(one.value, view.unit) if is_pressure else one.value
        value = words("bench.shown", value=number(reading_shown, DIGITS[one.name]), unit=unit)
    acts = words("bench.coefficients", gain=number(one.gain, 4), offset=number(one.offset, 0))
    rest: list[list[Component]] = [[html.Span(text)] for text in (codes, value, acts, _vouched(one, view))]
    return [name, *rest]


def _vouched(one: ChannelRow, view: View) -> str:
    words, known = view.words, one.calibration
    if known is None or one.due_days is None:
        return words("bench.nobody")
    day = date(known.day * DAY, view.zone)
    if known.points < 2:
        return words("bench.zero_only", day=day)
    key = "bench.vouched" if one.due_days >= 0 else "bench.overdue"
    named = words("data", text=known.reference) if known.reference else words("bench.unnamed")
    return words(key, day=day, reference=named, due=abs(one.due_days),
                 gain_u=number(known.gain_u_ppm / 1e4, 2), offset_u=number(known.offset_u, 1))  # fmt: skip


def _list(lines: list[str]) -> Component:
    return html.Ul([html.Li(line) for line in lines], className="bench-list")


def link(found: Bench, view: View) -> list[Component]:
    """Return the newest session's counters and how loaded the line is."""
    words, session = view.words, found.session
    if session is None:
        return [html.P(words("bench.link_none"))]
    closed = session.closed is not None
    key = "bench.link_closed" if closed else "bench.link_open"
    named = words("data", text=session.link)
    said = words(key, link=named, when=when(session.closed or session.opened, view))
    lasted_s = max(session.seen - session.opened, 1000) / 1000
    bytes_s = session.counters["bytes"] / lasted_s
    load = words("bench.load", bytes_s=number(bytes_s, 0), share=number(100 * bytes_s / LINE_BYTES_S, 1))
    lines = [
        words("bench.count", name=words(f"bench.counter.{name}"), n=count)
        for name, count in session.counters.items()
        if count or name in ("bytes", "frames", "records", "crc", "duplicate", "resend")
    ]
    return [html.P(said), html.P(load), _list(lines)]


def module_said(found: Bench, view: View) -> list[Component]:
    """Return ring, loop, memory, flash and log."""
    words, told = view.words, found.health
    if told is None:
        return [html.P(words("bench.module_none"))]
    return [_list([
        words("bench.ring", share=number(100 * told.ring_fill, 1), size=number(told.ring_bytes / 1024, 0)),
        words("bench.loop", ms=number(told.loop_us_max / 1000, 1)),
        words("bench.memory", size=number(told.memory_free / 1024, 0)),
        words("bench.flash", n=told.flash_wear),
        words("bench.log", share=number(100 * told.log_fill, 0)),
        words("bench.frames", sent=told.frames_sent, resent=told.frames_resent, bad=told.frames_bad),
        words("bench.lost", n=told.records_lost),
        words("bench.up", span=span(told.tick, words)),
    ])]  # fmt: skip


def clock_model(found: Bench, view: View) -> list[Component]:
    """Return rate and residuals of ticks against the host, and how the module's own clock stands."""
    words, fits = view.words, found.fits
    if not fits:
        return [html.P(words("bench.clock_none"))]
    newest = fits[-1]
    worst = max(abs(one.residual_ms) for one in fits)
    off = words("bench.unset")
    if newest.module_off_ms is not None and abs(newest.module_off_ms) < 30 * 365 * DAY:
        off = words("bench.off", ms=number(newest.module_off_ms, 0))
    lines = [words("bench.rate", ppm=number(newest.rate_ppm, 1)), off,
             words.count("bench.left", len(fits), worst=number(worst, 0))]  # fmt: skip
    if len(fits) < 2:
        return [_list(lines)]
    width = min(view.width - 2 * (8 if view.phone else 28), FIGURE_WIDTH_MAX)
    look = Look(words=words, zone=view.zone, theme=view.theme, width=width, narrow=view.phone)
    figure = residual_figure([(one.t, one.residual_ms, one.step) for one in fits], look)
    graph = dcc.Graph(
        id=ids.BENCH_CLOCK, figure=figure, responsive=True,
        style={"height": f"{figure['layout']['height']}px", "maxWidth": f"{FIGURE_WIDTH_MAX}px"},
        config={"displayModeBar": False, "responsive": True, "staticPlot": True},
    )  # fmt: skip
    named = attributes(aria_label=words("bench.figure"))
    return [_list(lines), html.Div(graph, role="img", className="figure-box", **named)]


def starts(found: Bench, view: View) -> list[Component]:
    """Return the last power-ups with their causes."""
    words = view.words
    lines = []
    for one in found.starts:
        cause = words(f"bench.cause.{min(max(one.cause, 0), 3)}")
        if one.off_s:
            lines.append(words("bench.start_off", when=when(one.t, view), cause=cause,
                               span=span(one.off_s * 1000, words)))  # fmt: skip
        else:
            lines.append(words("bench.started", when=when(one.t, view), cause=cause))
    total = [words.count("bench.resets", found.health.resets)] if found.health else []
    return [_list(lines), *(html.P(line) for line in total)]


def faults(settings: Settings, module: Module, view: View) -> list[Component]:
    """Return the buttons that play faults on an emulated bed, or why there are none."""
    words = view.words
    rig = rig_of(settings, module)
    if rig.why is not None:
        return [html.P(words(rig.why), className="soft")]
    field = dcc.Input(id=ids.BENCH_WHO, type="text", maxLength=20, persistence=True, persistence_type="local")
    buttons = [
        html.Button(words(f"bench.fault.{name}"), id={"kind": ids.BENCH_FAULT, "fault": name},
                    className="button", n_clicks=0)
        for name in rig.faults if words.has(f"bench.fault.{name}")
    ]  # fmt: skip
    return [
        html.P(words("bench.faults_lead", file=words("data", text=rig.file)), className="soft"),
        html.Div([html.Label(words("bench.who"), htmlFor=ids.BENCH_WHO), field], className="field"),
        html.Div(buttons, className="bench-buttons"),
        html.P(id=ids.BENCH_SAID, className="answer", role="status", **attributes(aria_live="assertive")),
    ]


def played(settings: Settings, view: View, search: str | None, fault: str, who: str) -> str:
    """Play one fault; return what to say."""
    words = view.words
    if not who.strip():
        return words("bench.bad_who")
    try:
        person = signed(who.strip())
        with reading(settings.store) as reader:
            module = choose_module(reader, parse(search).module)
        if module is None:
            return words("empty.title")
        t_s, file = play(settings, module, fault, person)
    except UserError as error:
        return words("bench.failed", reason=refusal(error, words))
    named = words(f"bench.fault.{fault}")
    return words("bench.played", fault=named, t=number(t_s, 1), file=words("data", text=file))


def register(app: Dash, settings: Settings) -> None:
    """Add the page's callbacks."""

    @app.callback(
        Output(ids.BENCH_SHOWN, "children"),
        Input(ids.BENCH_TICK, "n_intervals"), Input(ids.THEME, "data"), State(ids.URL, "search"),
        prevent_initial_call=True,
    )  # fmt: skip
    def tick(_: Any, __: Any, search: str | None) -> Any:
        view = view_of(request.cookies, settings)
        found = stand(settings, view, search)
        if found is None:
            raise PreventUpdate
        return shown(found, view)

    @app.callback(
        Output(ids.BENCH_SAID, "children"),
        Input({"kind": ids.BENCH_FAULT, "fault": dash.ALL}, "n_clicks"),
        State(ids.BENCH_WHO, "value"), State(ids.URL, "search"),
        prevent_initial_call=True,
    )  # fmt: skip
    def press(clicks: list[int], who: str | None, search: str | None) -> Any:
        asked: Any = dash.ctx.triggered_id
        if not any(clicks) or not isinstance(asked, dict) or not isinstance(asked.get("fault"), str):
            raise PreventUpdate
        return played(settings, view_of(request.cookies, settings), search, asked["fault"], who or "")
