"""Say what the circuit gets and what the vaporizer holds: calculated, with what isn't known."""

from dash import html
from dash.development.base_component import Component

from dashboard.formats import clock, number, span
from dashboard.texts import Number
from dashboard.view import View
from ingest.analysis.reserves.standing import Standing

MINUTE_MS = 60_000


def mixture_words(found: Standing, view: View) -> list[Component]:
    """Return the calculated oxygen of a draw-over circuit, or what is missing for it."""
    words, one = view.words, found.mixture
    title = html.H2(words("reserves.mixture"))
    if one is None:
        return [title, _missing(found.mixture_missing, view)]
    percent = {
        "with_tube": number(100 * one.with_reservoir, 0), "without": number(100 * one.without_reservoir, 0),
    }  # fmt: skip
    rests = words(
        "reserves.mixture_rests", oxygen=Number(f"{one.oxygen_l_min:g}"),
        purity=number(one.purity_percent, 1), volume=Number(f"{one.minute_volume_l_min:g}"),
        tube=Number(f"{one.reservoir_l:g}"),
    )  # fmt: skip
    said: list[Component] = [title, html.P(html.Strong(words("reserves.mixture_both", **percent)))]
    if one.here is not None:
        rate, share = number(one.rate_min, 0), number(one.share_percent, 0)
        here = words("reserves.mixture_here", percent=number(100 * one.lowest, 0), rule=words(one.here.rule))
        said.append(html.P([here, " ", words("reserves.mixture_pattern", rate=rate, share=share)]))
    return [*said, html.P(rests), _unknown(one.unknown, view)]


def agent_words(found: Standing, view: View) -> list[Component]:
    """Return the use of agent and how long the filling lasts at least."""
    words, one = view.words, found.agent
    title = html.H2(words("reserves.agent"))
    if one is None:
        return [title, _missing(("agent.not_entered",), view)]
    if one.minutes_low is None:
        lasts = words("reserves.agent_no_end")
    else:
        until = clock(view.now + one.minutes_low * MINUTE_MS, view.zone)
        lasts = words(
            "reserves.agent_left", span=span(one.minutes_low * MINUTE_MS, words), clock=until,
            left=number(one.left_ml, 0),
        )  # fmt: skip
    entry = one.entry
    carrier = "reserves.carrier.draw_over" if entry.draw_over else "reserves.carrier.fresh_gas"
    rests = words(
        "reserves.agent_rests", agent=words(f"agent.name.{entry.agent}"),
        level=Number(f"{entry.level_percent:g}"),
        flow=Number(f"{entry.carrier_l_min:g}"), carrier=words(carrier), exact=number(one.use.exact_ml_h, 1),
        thumb=number(one.use.thumb_ml_h, 1), clock=clock(entry.at_ms, view.zone),
    )  # fmt: skip
    return [title, html.P(html.Strong(lasts)), html.P(rests), _unknown(one.unknown, view)]


def _missing(keys: tuple[str, ...], view: View) -> Component:
    words = view.words
    listed = words("list.join").join(words(key) for key in keys)
    return html.P(words("reserves.missing", list=listed), className="soft")


def _unknown(keys: tuple[str, ...], view: View) -> Component:
    words = view.words
    listed = words("list.join").join(words(key) for key in keys)
    return html.P(words("reserves.unknown", list=listed), className="soft")
