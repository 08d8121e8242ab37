"""Case: who is at the bed, from when to when; entries by hand, reasons, and all cases with their reports."""

from collections.abc import Sequence
from typing import Any

import dash
from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate
from flask import request

from dashboard import casing, ids
from dashboard.access import signed
from dashboard.casing import Bedside, bedside
from dashboard.components import attributes, link, notice, since
from dashboard.formats import clock, date
from dashboard.links import Place, address
from dashboard.marking import time_in_night
from dashboard.pages import entries, reasons
from dashboard.refusing import refusal
from dashboard.reports.case_route import handover_address
from dashboard.settings import Settings
from dashboard.texts import Words
from dashboard.view import View, view_of
from ingest.analysis.case_look import CaseLook, OldLabel
from ingest.analysis.cases import ASKED, LABEL_MAX, Case, numbered
from ingest.analysis.refusal import Refused
from ingest.errors import UserError
from ingest.store.reader import tables

PATH = "/case"
SETTINGS_PATH, NIGHT_PATH = "/settings", "/night"
POLL_MS = 5000
DAY_MS = 86_400_000
# What a button may ask for.
DOES = ("start", "end", "end_record", "goes_on", "confirm", "redraw", "rename")


def page(settings: Settings, view: View, search: str | None) -> Component:
    """Return the page, filled; the callback renews what has changed."""
    words = view.words
    found = bedside(settings, view, search)
    if found is None:
        return notice(words("empty.title"), words("empty.text"))
    is_open = found.look.open is not None
    return html.Div(
        [
            html.H1(words("case.title")),
            html.Div(status(found, view), id=ids.CASE_STATUS, className="case-status"),
            html.P(id=ids.CASE_SAID, className="answer", role="status", **attributes(aria_live="assertive")),
            reasons.author(view),
            _starting(found, words, hidden=is_open),
            _ending(words, hidden=not is_open),
            reasons.layout(view, with_author=False),
            entries.layout(view),
            html.Section([html.H2(words("case.list")), html.Div(listed(found.look, view), id=ids.CASE_LIST)]),
            _renaming(found.look.cases, words),
            dcc.Interval(id=ids.CASE_TICK, interval=POLL_MS),
            dcc.Store(id=ids.CASE_SHOWN, data=_state(found)),
            dcc.Store(id=ids.CASE_WRITTEN, data=0),
        ],
        className="page page-case",
    )


def now_line(settings: Settings, view: View, search: str | None) -> Component | None:
    """Return for Now whose record this is, and what is asked about it; None for an empty store."""
    found = bedside(settings, view, search)
    if found is None:
        return None
    words, one = view.words, found.look.open
    if one is None:
        said = words("case.none")
    else:
        opened = words("time.day", date=date(one.start, view.zone), clock=clock(one.start, view.zone))
        said = words("case.open", number=one.number, since=opened)
    asked = [html.Strong(words("case.question"))] if found.look.questions else []
    way = link(words("case.title"), address(PATH, Place(module=found.module.id)), className="button")
    return html.Div([html.Span(said), *asked, way], className="card-foot")


def _state(found: Bedside) -> list[Any]:
    """Return what the page shows, so that nothing is drawn anew, and no focus lost, without a change."""
    one = found.look.open
    asked = [[each.key, each.since_ms // 60_000] for each in found.look.questions]
    shown = None if one is None else [one.number, one.state, one.start // 60_000, one.label]
    labels = [each.label for each in found.look.cases]
    return [shown, asked, found.mode, found.preset, found.unconfirmed, labels]


def status(found: Bedside, view: View) -> list[Component]:
    """Return the open case in words, what is asked about it, and limits that wait for confirmation."""
    words, one = view.words, found.look.open
    parts: list[Component] = []
    if one is None:
        parts.append(html.P(words("case.none"), className="lead"))
    else:
        parts += _open(one, found, view)
    if found.unconfirmed:
        parts.append(_limits(found, view))
    return parts


def _open(one: Case, found: Bedside, view: View) -> list[Component]:
    words = view.words
    opened = words("time.day", date=date(one.start, view.zone), clock=clock(one.start, view.zone))
    started = {"preset": words(f"preset.{one.preset}"), "mode": words(f"mode.{one.mode}")}
    if found.mode is None or found.preset is None:
        in_force = words("case.unknown_now", **started)
    else:
        now = {"now_preset": words(f"preset.{found.preset}"), "now_mode": words(f"mode.{found.mode}")}
        in_force = words("case.as_started", **started, **now)
    parts: list[Component] = [
        html.P(
            [html.Strong(words("case.open", number=one.number, since=opened)), " ",
             since(one.start, view, "case.for")],
            className="lead",
        ),
        html.P([in_force, " ", words("case.by", author=words("data", text=one.author))]),
    ]  # fmt: skip
    if one.label:
        parts.append(html.P(words("case.called", label=words("data", text=one.label))))
    if one.state == ASKED:
        parts.append(html.P(html.Strong(words("case.not_confirmed"))))
    if found.look.questions:
        parts.append(_question(found, view))
    return parts


def _question(found: Bedside, view: View) -> Component:
    words = view.words
    noticed = [
        html.Li(words("case.noticed", what=words(each.key), clock=clock(each.since_ms, view.zone)))
        for each in found.look.questions
    ]
    return html.Section(
        [html.Strong(words("case.question")), html.Ul(noticed), _button("goes_on", "case.do.goes_on", words)],
        className="asked",
        **attributes(aria_label=words("case.question")),
    )


def _limits(found: Bedside, view: View) -> Component:
    words = view.words
    place = address(SETTINGS_PATH, Place(module=found.module.id))
    return html.Section(
        [
            html.Strong(words("case.limits")),
            html.P(words("case.limits_how")),
            html.Div(
                [
                    link(words("case.limits_link"), place, className="button"),
                    _button("confirm", "case.do.confirm", words),
                    _button("redraw", "case.do.redraw", words),
                ],
                className="moves",
            ),
        ],
        className="asked",
        **attributes(aria_label=words("case.limits")),
    )


def _button(do: str, key: str, words: Words) -> Component:
    return html.Button(words(key), id={"kind": ids.CASE_DO, "do": do}, className="button", n_clicks=0)


def _starting(found: Bedside, words: Words, *, hidden: bool) -> Component:
    has_infant = found.preset == "infant"
    presets = [
        {"label": words(f"preset.{name}"), "value": name, "disabled": name == "infant" and not has_infant}
        for name in tables.PRESETS
    ]
    modes = [{"label": words(f"mode.{name}"), "value": name} for name in tables.MODES]
    label = dcc.Input(id=ids.CASE_LABEL, type="text", maxLength=80)
    return html.Fieldset(
        [
            html.Legend(words("case.start_title")),
            html.P(words("case.start_how"), className="soft"),
            _choose("case.mode", ids.CASE_MODE, modes, words),
            _choose("case.preset", ids.CASE_PRESET, presets, words),
            html.P("" if has_infant else words("case.no_infant"), className="soft"),
            html.Div([html.Label(words("case.label"), htmlFor=ids.CASE_LABEL), label], className="field"),
            _button("start", "case.start", words),
        ],
        id=ids.CASE_STARTING,
        className="mark-form",
        hidden=hidden,
    )


def _choose(key: str, of: str, options: Sequence[Any], words: Words) -> Component:
    # Nothing is chosen beforehand: the wrong preset is taken for the right one when it is there already.
    radios: Any = dcc.RadioItems(options=options, id=of, className="kinds")
    return html.Fieldset([html.Legend(words(key)), radios], className="kind-box")


def _ending(words: Words, *, hidden: bool) -> Component:
    time = dcc.Input(id=ids.CASE_END_TIME, type="text", maxLength=8)
    return html.Fieldset(
        [
            html.Legend(words("case.end_title")),
            html.P(words("case.end_how"), className="soft"),
            html.Div(
                [html.Label(words("case.end_time"), htmlFor=ids.CASE_END_TIME), time], className="field"
            ),
            html.Div(
                [_button("end", "case.end", words), _button("end_record", "case.end_record", words)],
                className="moves",
            ),
        ],
        id=ids.CASE_ENDING,
        className="mark-form",
        hidden=hidden,
    )


def _renaming(found: Sequence[Case], words: Words) -> Component:
    newest = str(found[-1].number) if found else ""
    number = dcc.Input(id=ids.CASE_NUMBER, type="text", inputMode="numeric", maxLength=6, value=newest)
    label = dcc.Input(id=ids.CASE_NEW_LABEL, type="text", maxLength=LABEL_MAX)
    return html.Fieldset(
        [
            html.Legend(words("case.rename_title")),
            html.P(words("case.rename_how"), className="soft"),
            html.Div(
                [html.Label(words("case.rename_number"), htmlFor=ids.CASE_NUMBER), number], className="field"
            ),
            html.Div(
                [html.Label(words("case.rename_to"), htmlFor=ids.CASE_NEW_LABEL), label], className="field"
            ),
            _button("rename", "case.do.rename", words),
        ],
        id=ids.CASE_RENAMING,
        className="mark-form",
        hidden=not found,
    )


def listed(look: CaseLook, view: View) -> Component:
    """Return all cases, newest first, each with its way to Night and to its handover, and old labels."""
    words = view.words
    if not look.cases:
        return html.P(words("case.no_list"), className="soft")
    rows: list[Component] = [
        html.Li(_row(one, look.old_labels.get(one.number, ()), view)) for one in reversed(look.cases)
    ]
    return html.Ul(rows, className="marks")


def _day(at: int, view: View) -> str:
    return view.words("time.day", date=date(at, view.zone), clock=clock(at, view.zone))


def _old(one: OldLabel, view: View) -> Component:
    words = view.words
    label = words("data", text=one.label) if one.label else words("case.old_none")
    author, until = words("data", text=one.by), _day(one.until_ms, view)
    return html.Li(words("case.old_label", label=label, until=until, author=author))


def _row(one: Case, old: Sequence[OldLabel], view: View) -> list[Component]:
    words = view.words
    window = (one.start, max(one.until(view.now), one.start + 1000))
    night = address(NIGHT_PATH, Place(module=one.module, window=window))
    with_ = words("case.with", preset=words(f"preset.{one.preset}"), mode=words(f"mode.{one.mode}"))
    if one.end is None:
        when = words("case.open_since", start=_day(one.start, view))
    else:
        when = words("case.from_to", start=_day(one.start, view), end=_day(one.end, view))
    parts: list[Component] = [
        html.B(words("case.row", number=one.number)),
        html.Span(when),
        html.Span(with_),
    ]
    if one.label:
        parts.append(html.Span(words("data", text=one.label), className="typed"))
    night_link = link(words("case.night"), night, title=words("case.go_night", number=one.number))
    paper = html.A(
        words("case.handover"), href=handover_address(one), target="_blank",
        title=words("case.go_handover", number=one.number),
    )  # fmt: skip
    parts += [night_link, paper]
    if old:
        versions: list[Component] = [_old(each, view) for each in old]
        parts.append(html.Details([html.Summary(words("case.old_labels")), html.Ul(versions)]))
    return parts


def done(
    settings: Settings, view: View, search: str | None, do: str, told: dict[str, str]
) -> tuple[bool, str]:
    """Do what a button asks for; return whether it was done, and what to say."""
    words = view.words
    try:
        found = bedside(settings, view, search)
        if found is None:
            return False, words("empty.title")
        if not told["author"].strip():
            return False, words("case.bad_author")
        if do == "start":
            return _start(settings, found, view, told)
        if do in ("end", "end_record"):
            return _end(settings, found, view, told, record_only=do == "end_record")
        who = signed(told["author"].strip())
        if do == "rename":
            return _rename(settings, found, words, told, who)
        if do == "goes_on":
            casing.goes_on(settings, found.module.id, who)
            return True, words("case.noted")
        return _answered(casing.confirm(settings, found.module.id, who, do == "redraw"), words)
    except UserError as error:
        return False, words("case.failed", reason=refusal(error, words))


def _answered(result: str | None, words: Words) -> tuple[bool, str]:
    if result is None:
        return False, words("case.no_answer")
    if result != "done":
        return False, words("case.refused", result=words(f"result.{result}"))
    return True, words("control.answer", what=words("case.limits"), result=words("result.done"))


def _start(settings: Settings, found: Bedside, view: View, told: dict[str, str]) -> tuple[bool, str]:
    words, one = view.words, found.look.open
    if one is not None:
        opened = words("time.day", date=date(one.start, view.zone), clock=clock(one.start, view.zone))
        raise Refused("refused.case_open", number=one.number, since=opened)
    if told["mode"] not in tables.MODES or told["preset"] not in tables.PRESETS:
        return False, words("case.choose")
    if told["preset"] == "infant" and found.preset != "infant":
        raise Refused("refused.infant_not_supplied")
    number, result = casing.start(
        settings, found.module.id, told["mode"], told["preset"], told["label"].strip(),
        signed(told["author"].strip()),
    )  # fmt: skip
    good, said = _answered(result, words)
    return good, words("case.started", number=number) if good else said


def _end(
    settings: Settings, found: Bedside, view: View, told: dict[str, str], *, record_only: bool
) -> tuple[bool, str]:
    words, one = view.words, found.look.open
    if one is None:
        raise Refused("refused.no_open_case")
    at = None
    if told["end"].strip():
        at = time_in_night(told["end"], view.now - DAY_MS + 1, view.now + 1, view.zone)
        if at is None:
            return False, words("case.bad_time")
    result = casing.end(settings, one, at, signed(told["author"].strip()), record_only)
    if record_only:
        return True, words("case.ended_record", number=one.number)
    good, said = _answered(result, words)
    return good, words("case.ended", number=one.number) if good else said


def _rename(
    settings: Settings, found: Bedside, words: Words, told: dict[str, str], who: str
) -> tuple[bool, str]:
    number = told["number"].strip()
    if not number.isdecimal():
        return False, words("case.bad_number")
    one = numbered(found.look.cases, int(number))
    label = casing.rename(settings, one, told["new_label"], who)
    if not label:
        return True, words("case.unnamed", number=one.number)
    return True, words("case.renamed", number=one.number, label=words("data", text=label))


def register(app: Dash, settings: Settings) -> None:
    """Add the page's callbacks."""
    entries.register(app, settings)

    def view() -> View:
        return view_of(request.cookies, settings)

    @app.callback(
        Output(ids.CASE_STATUS, "children"), Output(ids.CASE_LIST, "children"),
        Output(ids.CASE_STARTING, "hidden"), Output(ids.CASE_ENDING, "hidden"),
        Output(ids.CASE_SHOWN, "data"), Output(ids.CASE_RENAMING, "hidden"),
        Input(ids.CASE_TICK, "n_intervals"), Input(ids.CASE_WRITTEN, "data"),
        State(ids.URL, "search"), State(ids.CASE_SHOWN, "data"),
        prevent_initial_call=True,
    )  # fmt: skip
    def renew(_: Any, __: Any, search: str | None, shown: Any) -> Any:
        found = bedside(settings, view(), search)
        if found is None or _state(found) == shown:
            raise PreventUpdate
        is_open = found.look.open is not None
        look = found.look
        return (status(found, view()), listed(look, view()), is_open, not is_open, _state(found),
                not look.cases)  # fmt: skip

    @app.callback(
        Output(ids.CASE_SAID, "children"), Output(ids.CASE_WRITTEN, "data"),
        Input({"kind": ids.CASE_DO, "do": dash.ALL}, "n_clicks"),
        State(ids.URL, "search"), State(ids.CASE_WRITTEN, "data"), State(ids.REASON_AUTHOR, "value"),
        State(ids.CASE_MODE, "value"), State(ids.CASE_PRESET, "value"), State(ids.CASE_LABEL, "value"),
        State(ids.CASE_END_TIME, "value"), State(ids.CASE_NUMBER, "value"),
        State(ids.CASE_NEW_LABEL, "value"),
        prevent_initial_call=True,
    )  # fmt: skip
    def press(clicks: list[int], search: str | None, count: int, *written: str | None) -> Any:
        asked: Any = dash.ctx.triggered_id
        pressed = dash.ctx.triggered[0]["value"] if dash.ctx.triggered else None
        if not pressed or not isinstance(asked, dict) or asked.get("do") not in DOES:
            raise PreventUpdate
        names = ("author", "mode", "preset", "label", "end", "number", "new_label")
        told = {name: part or "" for name, part in zip(names, written, strict=True)}
        good, said = done(settings, view(), search, asked["do"], told)
        return said, count + 1 if good else dash.no_update
