"""Reserves: what carries the patient if the mains fails now, live from the module and a person's entries."""

from collections.abc import Mapping
from typing import Any

import dash
from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate
from flask import request

from dashboard import ids
from dashboard.access import signed
from dashboard.components import attributes, notice
from dashboard.figures.cascade import cascade_figure
from dashboard.figures.frame import Look
from dashboard.links import parse
from dashboard.marking import Draft, time_in_night, write
from dashboard.queries import choose_module, reading
from dashboard.refusing import refusal
from dashboard.reserve_words import PATH, card, details, lead
from dashboard.settings import Settings
from dashboard.texts import Words
from dashboard.view import View, view_of
from ingest.analysis.refusal import Refused
from ingest.analysis.reserves.agent import EXPANSION
from ingest.analysis.reserves.battery import EXPONENTS
from ingest.analysis.reserves.cylinder import SIZES
from ingest.analysis.reserves.entries import (
    KIND,
    agent_entry,
    bag_entry,
    battery_entry,
    cylinder_entry,
    flow_entry,
    mixture_entry,
)
from ingest.analysis.reserves.standing import Standing, standing
from ingest.analysis.units import GAUGE_UNITS
from ingest.errors import UserError
from ingest.store.reader import HostCommand, tables

__all__ = ["PATH", "now_card", "page", "register"]

POLL_MS = 5000
DAY_MS = 86_400_000
FIGURE_WIDTH_MAX = 1000
OTHER = "other"
# What carries the vapour: the minute volume in draw-over, else the fresh gas.
CARRIERS = ("draw_over", "fresh_gas")
# Fields of the form by entry; all are sent as texts, the analysis reads and refuses them.
FIELDS: Mapping[str, tuple[str, ...]] = {
    "cylinder": ("size", "water", "gauge", "unit"),
    "flow": ("oxygen", "volume", "bleed"),
    "battery": ("capacity", "hours", "chemistry", "current"),
    "mixture": ("mix_volume", "reservoir"),
    "agent": ("agent", "level", "filling", "carrier", "carrier_flow"),
    "bag": ("bag_time",),
}
NAMES = ("author", *(name for names in FIELDS.values() for name in names))


Stand = tuple[int, Standing, HostCommand | None]


def stand(settings: Settings, view: View, search: str | None) -> Stand | None:
    """Return the module shown, how its reserves stand, and the command that last told it of a cylinder.

    None for an empty store.
    """
    with reading(settings.store) as reader:
        module = choose_module(reader, parse(search).module)
        if module is None:
            return None
        cylinder = tables.COMMANDS["cylinder"]
        sent = [one for one in reader.host_commands(module.id) if one.command == cylinder]
        return module.id, standing(reader, module.id, view.now), sent[-1] if sent else None


def now_card(settings: Settings, view: View, search: str | None) -> Component | None:
    """Return the compact card for Now, None for an empty store."""
    found = stand(settings, view, search)
    return None if found is None else card(found[1], found[0], view)


def page(settings: Settings, view: View, search: str | None) -> Component:
    """Return the page, filled; the callback renews figure and words."""
    words = view.words
    found = stand(settings, view, search)
    if found is None:
        return notice(words("empty.title"), words("empty.text"))
    summary, figure, style, said = shown(found[1], view, found[2])
    graph = dcc.Graph(
        id=ids.RESERVES_GRAPH, figure=figure, style=style, responsive=True,
        config={"displayModeBar": False, "doubleClick": False, "responsive": True, "staticPlot": True},
    )  # fmt: skip
    box = html.Div(
        graph, role="img", className="figure-box", **attributes(aria_label=words("reserves.figure"))
    )
    return html.Div(
        [
            html.H1(words("reserves.title")),
            html.Div(summary, id=ids.RESERVES_LEAD),
            box,
            html.P(words("reserves.key"), className="soft"),
            html.Section(said, id=ids.RESERVES_WORDS, className="reserve-words"),
            html.Section(_form(words), className="reserve-form"),
            dcc.Interval(id=ids.RESERVES_TICK, interval=POLL_MS),
            dcc.Store(id=ids.RESERVES_SAVED, data=0),
        ],
        className="page page-reserves",
    )


def shown(found: Standing, view: View, told: HostCommand | None = None) -> tuple[Any, Any, Any, Any]:
    """Return the leading sentence, figure, its style, and the words."""
    margin = 8 if view.phone else 28
    width = min(view.width - 2 * margin, FIGURE_WIDTH_MAX)
    look = Look(words=view.words, zone=view.zone, theme=view.theme, width=width, narrow=True)
    figure = cascade_figure(found.cascade, look)
    style = {"height": f"{figure['layout']['height']}px", "maxWidth": f"{FIGURE_WIDTH_MAX}px"}
    return lead(found, view), figure, style, details(found, view, told)


def _form(words: Words) -> list[Component]:
    sizes = [{"label": words("data", text=size), "value": size} for size in SIZES]
    sizes.append({"label": words("reserves.other"), "value": OTHER})
    units = [{"label": words(f"reserves.unit.{unit}"), "value": unit} for unit in GAUGE_UNITS]
    agents = [{"label": words(f"agent.name.{name}"), "value": name} for name in EXPANSION]
    chemistries = [{"label": words(f"reserves.chemistry.{name}"), "value": name} for name in EXPONENTS]
    carriers = [{"label": words(f"reserves.carrier.{name}"), "value": name} for name in CARRIERS]
    return [
        html.H2(words("reserves.enter")),
        _line("author", 20, words),
        _set(
            "reserves.cylinder",
            [
                _choose("size", "reserves.size", sizes, words),
                _line("water", 8, words),
                _line("gauge", 8, words),
                _choose("unit", "reserves.unit", units, words),
            ],
            "cylinder", words,
        ),
        _set("reserves.flows", [_line(one, 8, words) for one in FIELDS["flow"]], "flow", words),
        _set(
            "reserves.battery_title",
            [
                html.P(words("reserves.battery_how"), className="soft"),
                _line("capacity", 8, words),
                _line("hours", 8, words),
                _choose("chemistry", "reserves.chemistry", chemistries, words),
                _line("current", 8, words),
            ],
            "battery", words,
        ),
        _set("reserves.mixture_title", [_line(one, 8, words) for one in FIELDS["mixture"]], "mixture", words),
        _set(
            "reserves.agent_title",
            [
                _choose("agent", "reserves.which_agent", agents, words),
                _line("level", 8, words),
                _line("filling", 8, words),
                _choose("carrier", "reserves.carrier", carriers, words),
                _line("carrier_flow", 8, words),
            ],
            "agent", words,
        ),
        _set("reserves.bag_title", [_line("bag_time", 8, words)], "bag", words),
        html.P(
            id=ids.RESERVES_STATUS, className="answer", role="status", **attributes(aria_live="assertive")
        ),
    ]  # fmt: skip


def _field_id(name: str) -> str:
    return f"{ids.RESERVES_FIELD}-{name}"


def _set(title: str, fields: list[Component], what: str, words: Words) -> Component:
    button = html.Button(
        words(f"reserves.save.{what}"),
        id={"kind": ids.RESERVES_SAVE, "what": what}, className="button", n_clicks=0,
    )  # fmt: skip
    return html.Fieldset([html.Legend(words(title)), *fields, button], className="mark-form")


def _line(name: str, longest: int, words: Words) -> Component:
    field = dcc.Input(id=_field_id(name), type="text", maxLength=longest)
    label = html.Label(words(f"reserves.{name}"), htmlFor=_field_id(name))
    return html.Div([label, field], className="field")


def _choose(name: str, key: str, options: list[dict[str, str]], words: Words) -> Component:
    # Nothing is chosen beforehand: a gauge in psi taken for bar would promise ten times too much.
    radios: Any = dcc.RadioItems(options=options, id=_field_id(name), className="kinds")
    return html.Fieldset([html.Legend(words(key)), radios], className="kind-box")


def entry(what: str, told: Mapping[str, str], view: View) -> tuple[int, dict[str, Any], str] | None:
    """Return time, data and text of one entry, None for a time that can't be; raise Refused for nonsense."""
    if what == "cylinder":
        water = told["water"] if told["size"] == OTHER else None
        data = cylinder_entry(size=told["size"], water_l=water, gauge=told["gauge"], unit=told["unit"])
        named = data.get("size") or f"{data['water_l']:g} L"
        return view.now, data, f"{named}, {data['gauge_bar']:.0f} bar"
    if what == "flow":
        data = flow_entry(oxygen=told["oxygen"], minute_volume=told["volume"], bleed=told["bleed"])
        flows = (data["oxygen_l_min"], data["minute_volume_l_min"], data["bleed_l_min"])
        return view.now, data, " + ".join(f"{one:g}" for one in flows) + " L/min"
    if what == "battery":
        data = battery_entry(
            capacity=told["capacity"], hours=told["hours"], chemistry=told["chemistry"],
            current=told["current"],
        )  # fmt: skip
        return view.now, data, f"{data['capacity_ah']:g} Ah / {data['rated_h']:g} h, {data['current_a']:g} A"
    if what == "mixture":
        data = mixture_entry(minute_volume=told["mix_volume"], reservoir=told["reservoir"])
        return view.now, data, f"{data['minute_volume_l_min']:g} L/min, {data['reservoir_l']:g} L"
    if what == "agent":
        return view.now, *_agent(told)
    at: int | None = view.now
    if told["bag_time"].strip():
        at = time_in_night(told["bag_time"], view.now - DAY_MS + 1, view.now + 1, view.zone)
    return None if at is None else (at, bag_entry(), "")


def _agent(told: Mapping[str, str]) -> tuple[dict[str, Any], str]:
    if told["carrier"] not in CARRIERS:
        raise Refused(
            "refused.unknown_choice", what="carrier", given=repr(told["carrier"]), known=", ".join(CARRIERS)
        )
    data = agent_entry(
        agent=told["agent"], level=told["level"], filling=told["filling"], carrier=told["carrier_flow"],
        draw_over=told["carrier"] == "draw_over",
    )  # fmt: skip
    return data, f"{data['agent']} {data['level_percent']:g} %, {data['filling_ml']:g} mL"


def saved(
    settings: Settings, view: View, search: str | None, what: str, told: Mapping[str, str]
) -> tuple[bool, str]:
    """Write one entry as a mark; return whether it was, and what to say."""
    words = view.words
    author = signed(told["author"].strip())
    if not author:
        return False, words("reserves.bad_author")
    try:
        made = entry(what, told, view)
        if made is None:
            return False, words("reserves.bad_time")
        with reading(settings.store) as reader:
            module = choose_module(reader, parse(search).module)
        if module is None:
            return False, words("empty.title")
        at, data, text = made
        draft = Draft(utc=at, kind=KIND, author=author, text=text, data=data)
        write(settings.store, module.id, draft, settings.clock())
    except UserError as error:
        return False, words("reserves.failed", reason=refusal(error, words))
    return True, words("reserves.saved")


def register(app: Dash, settings: Settings) -> None:
    """Add the page's callbacks."""

    def view() -> View:
        return view_of(request.cookies, settings)

    @app.callback(
        Output(ids.RESERVES_LEAD, "children"), Output(ids.RESERVES_GRAPH, "figure"),
        Output(ids.RESERVES_GRAPH, "style"), Output(ids.RESERVES_WORDS, "children"),
        Input(ids.RESERVES_TICK, "n_intervals"), Input(ids.RESERVES_SAVED, "data"),
        Input(ids.THEME, "data"), State(ids.URL, "search"),
        prevent_initial_call=True,
    )  # fmt: skip
    def tick(_: Any, __: Any, ___: Any, search: str | None) -> tuple[Any, Any, Any, Any]:
        found = stand(settings, view(), search)
        if found is None:
            raise PreventUpdate
        return shown(found[1], view(), found[2])

    @app.callback(
        Output(ids.RESERVES_STATUS, "children"), Output(ids.RESERVES_SAVED, "data"),
        Input({"kind": ids.RESERVES_SAVE, "what": dash.ALL}, "n_clicks"),
        State(ids.URL, "search"), State(ids.RESERVES_SAVED, "data"),
        *(State(_field_id(name), "value") for name in NAMES),
        prevent_initial_call=True,
    )  # fmt: skip
    def save(clicks: list[int], search: str | None, count: int, *written: Any) -> tuple[Any, Any]:
        asked: Any = dash.ctx.triggered_id
        if not any(clicks) or not isinstance(asked, dict) or asked.get("what") not in FIELDS:
            raise PreventUpdate
        told = {name: str(part or "") for name, part in zip(NAMES, written, strict=True)}
        done, said = saved(settings, view(), search, asked["what"], told)
        return said, count + 1 if done else dash.no_update
