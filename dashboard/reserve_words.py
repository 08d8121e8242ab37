"""Say how reserves stand: the compact card on Now, and the lists of the page."""

from dash import html
from dash.development.base_component import Component

from dashboard.at_bed_words import agent_words, mixture_words
from dashboard.components import attributes, link
from dashboard.formats import clock
from dashboard.links import Place, address
from dashboard.texts import Number
from dashboard.view import View
from ingest.analysis.reserves.cascade import Rung
from ingest.analysis.reserves.standing import Standing
from ingest.analysis.reserves.words import SOURCES
from ingest.store.reader import HostCommand, tables

PATH = "/reserves"
# What a page reckons with; the others belong to the command.
USED = (
    "source.battery_proven", "source.peukert", "source.gas", "source.demand", "source.rate",
    "source.mixture_reservoir", "source.mixture_none", "source.agent", "source.cascade",
)  # fmt: skip
assert set(USED) <= set(SOURCES)


def card(found: Standing, module: int, view: View) -> Component:
    """Return the compact card: three rungs, a way to the page."""
    words = view.words
    rows = [html.Li(_short(rung, found, view)) for rung in found.cascade.rungs]
    return html.Section(
        [
            html.H2(words("reserves.title")),
            html.Ol(rows, className="rungs"),
            html.P(
                [
                    html.Span(words("reserves.calculated"), className="soft"),
                    link(words("reserves.more"), address(PATH, Place(module=module)), className="button"),
                ],
                className="card-foot",
            ),
        ],
        className="reserve-card",
        **attributes(aria_label=words("reserves.title")),
    )


def _short(rung: Rung, found: Standing, view: View) -> list[Component]:
    first = next(iter(rung.unknown), None)
    note = ""
    if rung.key == "rung.hand_room_air":
        note = _bag(found, view)
    elif rung.key == "rung.cylinder" and found.cylinder is not None:
        note = _gauge(found, view)
    elif first is not None and not rung.proven:
        note = view.words(first)
    line: list[Component] = [html.B(rung_line(rung, view))]
    return [*line, html.Span(note, className="why")] if note else line


def _gauge(found: Standing, view: View) -> str:
    read = found.entered.readings[-1]
    return view.words(
        "reserves.gauge_read", gauge=Number(f"{read.gauge_bar:.0f}"), clock=clock(read.at_ms, view.zone)
    )


def rung_line(rung: Rung, view: View) -> str:
    """Return one rung: minutes first, then the clock."""
    words, name = view.words, view.words(rung.key)
    if rung.minutes_low is None or rung.until_ms is None:
        return words("reserves.hand", name=name, clock=clock(rung.from_ms, view.zone))
    until = clock(rung.until_ms, view.zone)
    return words("reserves.rung", name=name, minutes=rung.minutes_low, clock=until)


def _bag(found: Standing, view: View) -> str:
    seen = found.entered.bag_seen_ms
    if seen is None:
        return view.words("hand.bag_not_seen")
    return view.words("reserves.bag", clock=clock(seen, view.zone))


def lead(found: Standing, view: View) -> Component:
    """Return the sentence that sums up."""
    words = view.words
    end = clock(found.cascade.rungs[-1].from_ms, view.zone)
    said = words("reserves.lead", minutes=found.cascade.minutes_low, clock=end, zone=view.zone.key)
    return html.P(
        [html.Strong(said), " ", html.Span(words("reserves.calculated"))], className="lead", role="status"
    )


def details(found: Standing, view: View, told: HostCommand | None = None) -> list[Component]:
    """Return rungs with what isn't known, what rests on entries, what lengthens, the sources.

    `told`: the last command that told the module of a cylinder, None: it never was.
    """
    words = view.words
    whole = [html.Li(words(key)) for key in found.cascade.unknown]
    used = {
        "source.battery_proven": found.peukert is None, "source.peukert": found.peukert is not None,
        "source.rate": found.entered.rate is not None, "source.mixture_reservoir": found.mixture is not None,
        "source.mixture_none": found.mixture is not None, "source.agent": found.agent is not None,
    }  # fmt: skip
    sources = [html.Li(words(key)) for key in USED if used.get(key, True)]
    return [
        html.Ol([html.Li(_full(rung, found, view)) for rung in found.cascade.rungs], className="rungs"),
        *_rests_on(found, view),
        *_module_knows(found, view, told),
        html.H2(words("reserves.lengthen")),
        _lengthen(found, view),
        *mixture_words(found, view),
        *agent_words(found, view),
        html.H2(words("reserves.whole")),
        html.Ul(whole),
        html.Details([html.Summary(words("reserves.sources")), html.Ul(sources)]),
    ]


def _full(rung: Rung, found: Standing, view: View) -> list[Component]:
    words = view.words
    parts: list[Component] = [html.B(rung_line(rung, view))]
    if rung.key == "rung.hand_room_air":
        return [*parts, html.Span(_bag(found, view), className="why")]
    notes = []
    if rung.key == "rung.battery" and not rung.proven:
        notes.append(words("reserves.not_proven"))
    if rung.minutes_low:
        high = rung.minutes_high
        notes.append(words("reserves.open") if high is None else words("reserves.at_most", minutes=high))
    if rung.unknown:
        notes.append(words("reserves.unknown", list="; ".join(words(key) for key in rung.unknown)))
    return [*parts, html.Span(" · ".join(notes), className="why")]


def _rests_on(found: Standing, view: View) -> list[Component]:
    words, told, reserve = view.words, found.entered, found.cylinder
    said = []
    battery, peukert = told.battery, found.peukert
    if battery is not None and peukert is not None:
        low, middle, high = (
            Number(f"{one:.0f}") for one in (peukert.low_min, peukert.middle_min, peukert.high_min)
        )
        said.append(
            words(
                "reserves.peukert", capacity=Number(f"{battery.capacity_ah:g}"),
                hours=Number(f"{battery.rated_h:g}"), current=Number(f"{battery.current_a:g}"),
                type=words(f"reserves.chemistry.{battery.chemistry}"), low=low, middle=middle, high=high,
            )
        )  # fmt: skip
    if reserve is not None:
        content = reserve.content
        said.append(
            words(
                "reserves.content", size=content.cylinder.size, gauge=Number(f"{content.gauge_bar:.0f}"),
                clock=clock(told.readings[-1].at_ms, view.zone), ideal=Number(f"{content.ideal_l:.0f}"),
                real=Number(f"{content.real_l:.0f}"), factor=Number(f"{content.factor_l:.0f}"),
                flow=Number(f"{reserve.rate_high_l_min:.3g}"),
            )
        )  # fmt: skip
    rate = told.rate
    if rate is not None and rate.told:
        low, high, one = (Number(f"{v:.1f}") for v in (rate.low_l_min, rate.high_l_min, rate.rate_l_min))
        minutes = f"{rate.minutes_between:.0f}"
        said.append(words("reserves.rate", flow=one, minutes=minutes, low=low, high=high))
    if told.unreadable:
        said.append(words("reserves.unreadable", count=told.unreadable))
    return [html.P(one) for one in said]


def _module_knows(found: Standing, view: View, told: HostCommand | None) -> list[Component]:
    """Say whether the module's own alarm counts what was entered."""
    words, entries = view.words, found.entered
    if found.cylinder is None:
        return []
    newest = max(entries.readings[-1].at_ms, entries.flow_at_ms or 0)
    if told is None or told.utc < newest or told.result is None:
        said = words("reserves.module_waits")
    elif tables.COMMAND_RESULTS[told.result] != "done":
        said = words("reserves.module_refused", result=words(f"result.{tables.COMMAND_RESULTS[told.result]}"))
    else:
        said = words("reserves.module_told", clock=clock(told.utc, view.zone), limit=found.short_min)
    return [html.P(said)]


def _lengthen(found: Standing, view: View) -> Component:
    words = view.words
    rows = [
        html.Li(
            words(
                "reserves.longer", minutes=one.minutes_gained, what=words(one.key),
                flow=Number(f"{one.to_l_min:.3g}")
            )
        )
        for one in found.cascade.lengthen
        if one.minutes_gained > 0
    ]
    return html.Ul(rows) if rows else html.P(words("reserves.nothing_lengthens"), className="soft")
