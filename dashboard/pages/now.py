"""Now: a sentence, what stands, then supply, oxygen, breathing along the way of the gas, and the wave."""

import base64
from typing import Any

import numpy as np
from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component
from flask import request

from dashboard import ids
from dashboard.components import at, attributes, badge, notice, reached, since
from dashboard.formats import MISSING, clock, date, span
from dashboard.frames import Alarm, NowFrame, Wave
from dashboard.links import parse
from dashboard.pages import case, controls, due, reasons, reserves, stations
from dashboard.queries import choose_module, now_frame, reading, wave_since
from dashboard.settings import Settings
from dashboard.units import in_unit, now_in
from dashboard.view import View, view_of
from ingest.analysis.first_actions import FirstActions

BACK_MS = 12 * 3_600_000
# After this long without a newer trend, readings are drawn as old.
OLD_MS = 4000


def page(settings: Settings, view: View, search: str | None) -> Component:
    """Return the page, filled; the callback renews it each second."""
    words = view.words
    *shown, data, cursor = answer(settings, view, search, 0)
    return html.Div(
        [
            # The browser's own timer raises it: a second after the last question, once that is answered.
            dcc.Store(id=ids.NOW_TICK, data=0),
            dcc.Interval(id=ids.NOW_RESERVES_TICK, interval=reserves.POLL_MS),
            dcc.Store(id=ids.NOW_CURSOR, data=cursor),
            dcc.Store(id=ids.NOW_WAVE_DATA, data=data),
            html.H1(words("nav.now"), className="spoken"),
            html.Div(
                [
                    html.Div(shown[0], id=ids.NOW_HEAD),
                    controls.layout(shown[2], view),
                    html.Div(shown[1], id=ids.NOW_WAY),
                    _wave(view),
                    reasons.layout(view),
                    html.Div(_cards(settings, view, search), id=ids.NOW_RESERVES),
                ],
                id=ids.NOW_BODY,
                className="now",
            ),
            html.Div(id=ids.NOW_DRAWN, hidden=True),
            html.P(words("app.frozen"), className="frozen", **attributes(aria_hidden="true")),
        ],
        className="page page-now",
    )


def _wave(view: View) -> Component:
    words = view.words
    return html.Section(
        [
            html.H2(words("now.wave")),
            html.Canvas(
                id=ids.NOW_WAVE,
                className="wave",
                role="img",
                **attributes(
                    aria_label=words("now.wave.label", unit=words(f"unit.{view.unit}")),
                    data_now=words("now.wave.now"),
                    data_ago=words.raw("now.wave.ago"),
                    data_none=words("now.wave.none"),
                    data_unit=words(f"unit.{view.unit}"),
                ),
            ),
        ],
        className="wave-box",
    )


def _cards(settings: Settings, view: View, search: str | None) -> list[Component]:
    found = (
        case.now_line(settings, view, search), reserves.now_card(settings, view, search),
        due.due_now(settings, view, search),
    )  # fmt: skip
    return [one for one in found if one is not None]


def head(frame: NowFrame, view: View, actions: FirstActions | None = None) -> list[Component]:
    """Return the sentence, preset and mode, and what stands, beside it the site's own first actions."""
    return [_sentence(frame, view), _use(frame, view), _standing(frame, view, actions)]


def way(frame: NowFrame, view: View) -> list[Component]:
    """Return the three stations and the state of the link."""
    return [
        html.Section(
            [
                stations.supply(frame, view),
                stations.oxygen(frame, view),
                stations.breathing(frame, view),
            ],
            className="way",
            **attributes(aria_label=view.words("now.way")),
        ),
        html.P(_link(frame, view), className="link-state"),
    ]


def _sentence(frame: NowFrame, view: View) -> Component:
    words = view.words
    start = frame.watched_since
    if frame.dark_ms < 1000:
        when = words("time.day", date=date(start, view.zone), clock=clock(start, view.zone))
        first = words("now.watched", since=when)
    else:
        back = span(view.now - start, words)
        first = words("now.dark", dark=span(frame.dark_ms, words), back=back)
    rest = words("now.not_measured", what=words("not_measured"))
    return html.P(
        [html.Span(first), " ", html.Span(rest), " ", html.Strong(words("now.watch"))], className="lead"
    )


def _use(frame: NowFrame, view: View) -> Component:
    words = view.words
    parts = [
        html.Span([words("now.preset"), " ", html.B(words(f"preset.{frame.preset}"))], className="use"),
        html.Span([words("now.mode"), " ", html.B(words(f"mode.{frame.mode}"))], className="use"),
    ]
    if "limits_unconfirmed" in frame.flags:
        parts.append(html.Span(words("now.confirm"), className="use-confirm"))
    return html.Div(parts, className="uses")


def _standing(frame: NowFrame, view: View, actions: FirstActions | None) -> Component:
    words = view.words
    standing = sorted(frame.standing, key=lambda alarm: (-alarm.priority, alarm.start))
    paused = "audio_paused" in frame.flags and frame.pause_left > 0
    sound = words("now.sound_paused", n=frame.pause_left) if paused else words("now.sound_on")
    rows: list[Component] = [
        html.Li([*_alarm(alarm, view), *_actions(alarm, actions, view)], className="alarm")
        for alarm in standing
    ]
    listed = html.Ul(rows) if rows else html.P(words("now.no_alarms"), className="soft")
    return html.Section(
        [
            html.H2(words("now.alarms")),
            listed,
            html.P(sound, className="sound sound-paused" if paused else "sound"),
        ],
        className="standing",
        **attributes(aria_live="polite"),
    )


def _alarm(alarm: Alarm, view: View) -> list[Component]:
    words = view.words
    notes = [reached(alarm, view)]
    if alarm.cause_key is not None:
        notes.append(words("now.under", cause=words(alarm.cause_key)))
    if alarm.acknowledged is not None:
        notes.append(words("now.acknowledged", clock=clock(alarm.acknowledged, view.zone)))
    return [
        badge(alarm.priority, view),
        html.Span(words(alarm.key), className="what"),
        html.Span([words("now.since", clock=clock(alarm.start, view.zone, seconds=True))], className="when"),
        since(alarm.start, view, "now.for"),
        html.Span(" · ".join(note for note in notes if note), className="why"),
    ]


def _actions(alarm: Alarm, actions: FirstActions | None, view: View) -> list[Component]:
    lines = () if actions is None else actions.lines(alarm.name, view.words.language)
    if actions is None or not lines:
        return []
    words = view.words
    by = words("data", text=actions.approved_by)
    return [
        html.Div(
            [
                html.B(words("action.title")),
                html.Ol([html.Li(words("data", text=line)) for line in lines]),
                html.Span(words("action.by", by=by, on=actions.approved_on.isoformat()), className="soft"),
            ],
            className="actions",
        )
    ]


def _link(frame: NowFrame, view: View) -> list[Any]:
    words, link = view.words, frame.link
    if link is None:
        return [words("now.link.none")]
    if link.closed is not None:
        reason = words("data", text=link.reason or MISSING)
        when = clock(link.closed, view.zone, seconds=True)
        return [words("now.link.closed", name=link.name, clock=when, reason=reason)]
    return [since(link.seen, view, "now.link.open", name=link.name), " · ", at(frame.t, view)]


def wave_data(wave: Wave, frame: NowFrame, view: View) -> dict[str, Any]:
    """Return new samples for the browser: 1/100 unit in int16, −32768 missing; times relative to `t0`."""
    scaled = np.where(np.isnan(wave.value), -32768, np.round(wave.value * in_unit(100, view.unit)))
    t0 = int(wave.t[0]) if len(wave.t) else frame.t
    return {
        "t0": t0,
        "t": base64.b64encode((wave.t - t0).astype("<i4").tobytes()).decode("ascii"),
        "v": base64.b64encode(scaled.astype("<i2").tobytes()).decode("ascii"),
        "now": view.now,
        "newest": frame.t,
        "old_ms": OLD_MS,
        "high": frame.limits.get("pressure.high"),
        "low": frame.limits.get("pressure.disconnect"),
    }


Answer = tuple[Any, Any, bool, Any, int]


def answer(settings: Settings, view: View, search: str | None, cursor: int) -> Answer:
    """Return head, way, whether the module lets pages silence, samples after `cursor`, the new cursor."""
    with reading(settings.store) as reader:
        module = choose_module(reader, parse(search).module)
        frame = None if module is None else now_frame(reader, module, view.now, BACK_MS)
        if module is None or frame is None:
            return notice(view.words("empty.title"), view.words("empty.text")), None, False, None, 0
        frame = now_in(frame, view.unit)
        wave = wave_since(reader, module.id, cursor, view.now)
    newest = int(wave.t[-1]) if len(wave.t) else cursor
    is_open = "button_open" in frame.flags
    top = head(frame, view, settings.actions)
    if frame.standing:
        top.append(due.first_link(module.id, view))
    return top, way(frame, view), is_open, wave_data(wave, frame, view), newest


def register(app: Dash, settings: Settings) -> None:
    """Add the page's callbacks."""

    @app.callback(
        Output(ids.NOW_HEAD, "children"), Output(ids.NOW_WAY, "children"),
        Output(ids.NOW_CONTROLS, "disabled"),
        Output(ids.NOW_WAVE_DATA, "data"), Output(ids.NOW_CURSOR, "data"),
        Input(ids.NOW_TICK, "data"), State(ids.NOW_CURSOR, "data"), State(ids.URL, "search"),
        prevent_initial_call=True,
    )  # fmt: skip
    def tick(_: int, cursor: int | None, search: str | None) -> Answer:
        known = cursor if isinstance(cursor, int) else 0
        top, below, is_open, *rest = answer(settings, view_of(request.cookies, settings), search, known)
        return top, below, not is_open, *rest

    @app.callback(
        Output(ids.NOW_RESERVES, "children"),
        Input(ids.NOW_RESERVES_TICK, "n_intervals"), State(ids.URL, "search"),
        prevent_initial_call=True,
    )  # fmt: skip
    def renew_reserves(_: int, search: str | None) -> list[Component]:
        return _cards(settings, view_of(request.cookies, settings), search)

    controls.register(app, settings)
    app.clientside_callback(
        ClientsideFunction("nightkeel", "wave"),
        Output(ids.NOW_DRAWN, "children"),
        Input(ids.NOW_WAVE_DATA, "data"),
    )
