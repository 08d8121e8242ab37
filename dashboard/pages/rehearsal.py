"""Rehearsal: what another limit, deadband or delay would have done to a night. It sends nothing."""

from typing import Any

from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate
from flask import request

from dashboard import ids, links
from dashboard.components import attributes, notice
from dashboard.figures.rehearsal import sweep_figure
from dashboard.formats import HOUR, clock, date, number, span, utc_offset_ms
from dashboard.pages.load import KEY_OF, table
from dashboard.pages.night import look_of
from dashboard.queries import choose_module, chosen_night, nights, reading
from dashboard.rehearsing import OFFERED, Rehearsal, rehearse
from dashboard.settings import Settings
from dashboard.view import View, view_of
from ingest.analysis.rehearsal.judge import Verdict
from ingest.analysis.rehearsal.stage import Rehearsed
from ingest.errors import UserError
from ingest.store.reader import Night, Reader, tables

PATH = "/rehearsal"
FIRST = "oxygen.delay"
GRAPH: Any = {"displayModeBar": False, "doubleClick": False, "responsive": True}


def page(settings: Settings, view: View, search: str | None) -> Component:
    """Return the page with its form; the rehearsal itself waits for a press."""
    words = view.words
    with reading(settings.store) as reader:
        night = asked(reader, view, search)
    if night is None:
        return notice(words("empty.title"), words("empty.text"))
    shown = words("night.title", date=date(night.start, view.zone))
    return html.Div(
        [
            html.Div(
                html.Div(
                    html.H1([words("rehearsal.title"), html.Span(shown, className="span")]),
                    className="title-row",
                ),
                className="night-head",
            ),
            html.P([html.Strong(words("rehearsal.sends_nothing")), " ", words("rehearsal.lead")],
                   className="lead"),
            form(view),
            html.Section(id=ids.REHEARSAL_RESULT, **attributes(aria_live="polite")),
        ],
        className="page page-rehearsal",
    )  # fmt: skip


def asked(reader: Reader, view: View, search: str | None) -> Night | None:
    """Return the night of an address, None for an empty store."""
    place = links.parse(search)
    module = choose_module(reader, place.module)
    found = [] if module is None else nights(reader, module.id, utc_offset_ms(view.now, view.zone))
    return chosen_night(found, place) if found else None


def form(view: View) -> Component:
    """Return the choice of a setting and its value."""
    words = view.words
    options = [{"label": words("data", text=f"{name}, {tables.SETTINGS[name].unit}"), "value": name}
               for name in OFFERED]  # fmt: skip
    return html.Fieldset(
        [
            html.Legend(words("rehearsal.try")),
            html.Div(
                [
                    html.Label(words("rehearsal.setting"), htmlFor=ids.REHEARSAL_NAME),
                    dcc.Dropdown(options, FIRST, id=ids.REHEARSAL_NAME, clearable=False, searchable=False),
                ],
                className="field",
            ),
            html.Div(
                [
                    html.Label(words("rehearsal.value"), htmlFor=ids.REHEARSAL_VALUE),
                    dcc.Input(id=ids.REHEARSAL_VALUE, type="text", maxLength=20),
                ],
                className="field",
            ),
            html.Button(words("rehearsal.go"), id=ids.REHEARSAL_GO, className="button", n_clicks=0),
        ],
        className="choose",
    )


def result(found: Rehearsal, view: View) -> list[Component]:
    """Return missed and late true events first, then the figures side by side, then the plot."""
    words = view.words
    verdicts = found.tried.judged.verdicts
    bad = [one for one in verdicts if one.missed or one.late]
    lines = [html.Li(_verdict(one, view), className="missed" if one.missed else "late") for one in bad]
    if not verdicts:
        first: Component = html.P(words("rehearsal.no_truth"))
    elif bad:
        first = html.Ul(lines, className="verdicts")
    else:
        first = html.P(words("rehearsal.none_missed", events=found.events))
    parts = [html.H2(words("rehearsal.missed_title")), first]
    if not found.exact:
        parts.append(html.P(words("rehearsal.not_exact"), className="lead"))
    heads = ("rehearsal.what", "rehearsal.in_force", "rehearsal.tried")
    rows = [
        (words(f"rehearsal.row.{key}"), before, after)
        for (key, before), (_, after) in zip(
            figures(found.in_force, view), figures(found.tried, view), strict=True
        )
    ]
    parts.append(table(heads, rows, words("rehearsal.figures"), words))
    figure = sweep_figure(found.sweep, found.current, look_of(view))
    parts += [
        html.H2(words("rehearsal.plot")),
        html.P(words("rehearsal.plot_how"), className="soft"),
        dcc.Graph(figure=figure, config=GRAPH),
    ]
    return parts


def _verdict(one: Verdict, view: View) -> str:
    words, event = view.words, one.event
    what = words(KEY_OF[event.condition]) if event.condition else words("data", text=event.text or "–")
    at = clock(event.start_ms, view.zone, seconds=True)
    before = words("rehearsal.no_alarm")
    if one.in_force_s is not None:
        before = f"{words.number(number(one.in_force_s, 1))} s"
    if one.rehearsed_s is None:
        return words("rehearsal.missed", what=what, at=at, before=before)
    return words("rehearsal.late", what=what, at=at, before=before, after=number(one.rehearsed_s, 1))


def figures(one: Rehearsed, view: View) -> list[tuple[str, str]]:
    """Return the figures of one rehearsal as words."""
    words, burden = view.words, one.outcome.burden
    muted = 0 if burden.longest_muted is None else burden.longest_muted[1] - burden.longest_muted[0]
    return [
        ("missed", str(sum(verdict.missed for verdict in one.judged.verdicts))),
        ("late", str(sum(verdict.late for verdict in one.judged.verdicts))),
        ("nuisance", str(one.judged.nuisance)),
        ("activations", str(burden.activations)),
        ("per_hour", words.number(number(burden.per_hour, 1))),
        ("standing", span(one.outcome.standing_s * 1000, words)),
        ("silence", span(muted, words)),
        ("chatter", str(len(burden.chatter))),
        ("floods", str(len(burden.floods))),
        ("watched", span(burden.watched_h * HOUR, words)),
    ]


def answer(
    settings: Settings, view: View, search: str | None, name: str, value: str | None
) -> list[Component]:
    """Rehearse the night of an address; what can't be tried is said in a sentence."""
    if name not in OFFERED or not value:
        return [html.P(view.words("rehearsal.needs_value"), className="lead")]
    try:
        with reading(settings.store) as reader:
            night = asked(reader, view, search)
            if night is None:
                return [html.P(view.words("empty.text"))]
            found = rehearse(reader, night.module, night.first, night.last, name, value)
    except UserError as error:
        return [html.P(view.words("rehearsal.refused", reason=str(error)), className="lead")]
    return result(found, view)


def register(app: Dash, settings: Settings) -> None:
    """Add the page's callback."""

    @app.callback(
        Output(ids.REHEARSAL_RESULT, "children"),
        Input(ids.REHEARSAL_GO, "n_clicks"), Input(ids.THEME, "data"),
        State(ids.REHEARSAL_NAME, "value"), State(ids.REHEARSAL_VALUE, "value"), State(ids.URL, "search"),
        prevent_initial_call=True,
    )  # fmt: skip
    def go(clicks: int, _: str, name: str, value: str | None, search: str | None) -> Any:
        if not clicks:
            raise PreventUpdate
        return answer(settings, view_of(request.cookies, settings), search, name, value)
