"""Under the night in words: alarm load by published figures, exposure, earlier nights, what can't be told."""

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from dashboard import links
from dashboard.components import attributes, link
from dashboard.formats import HOUR, MINUTE, MISSING, SECOND, clock, date, number, offset, span
from dashboard.links import Place
from dashboard.morning import Morning
from dashboard.texts import Number, Words
from dashboard.units import in_unit, unit_word
from dashboard.view import View
from ingest.analysis.breathing.model import CANNOT_TELL
from ingest.analysis.breathing.trends import HourMeasure, hourly
from ingest.analysis.burden import REFERENCES, Burden
from ingest.analysis.exposure import Exposure
from ingest.analysis.night_clock import night_hours
from ingest.store.reader import tables

Cell = str | Component
KEY_OF = {row.name: row.key for row in tables.ALARMS}


def sections(morning: Morning, path: str, view: View) -> list[Component]:
    """Return what stands below the summary; `path` is the page that shows a night."""
    words = view.words
    return [
        html.Div([html.H2(words("burden.title")), *_burden(morning.burden, words)], className="load"),
        html.Div([html.H2(words("exposure.title")), _exposure(morning, view)], className="load"),
        html.Div([html.H2(words("hours.title")), *_hours(morning, view)], className="load"),
        html.Div([html.H2(words("compare.title")), *_earlier(morning, path, view)], className="load"),
        html.Div([html.H2(words("cannot_tell.title")), cannot_tell(words)], className="load"),
    ]


def cannot_tell(words: Words) -> Component:
    """Return the list of what circuit pressure alone can't tell."""
    items = [html.Li(words(key)) for key in CANNOT_TELL]
    proof = html.Strong(words("summary.pressure_proves_nothing"))
    return html.Div([html.Ul(items), html.P(proof)])


def burden_sentences(burden: Burden, words: Words) -> list[str]:
    """Return the alarm load in sentences."""
    if burden.per_hour is None or burden.per_day is None:
        return [words("burden.none")]
    hours = span(burden.watched_h * HOUR, words)
    out = [
        words(
            "burden.rate", per_hour=number(burden.per_hour, 1), per_day=number(burden.per_day, 0), hours=hours
        )
    ]
    if burden.response_median_s is None or burden.response_p90_s is None:
        out.append(words("burden.no_response"))
    else:
        median, p90 = (
            span(value * SECOND, words) for value in (burden.response_median_s, burden.response_p90_s)
        )
        out.append(words("burden.response", median=median, p90=p90, count=burden.responses))
    if burden.ended_by_itself_share is not None:
        out.append(words("burden.alone", share=number(100 * burden.ended_by_itself_share, 0)))
    if burden.longest_quiet is not None:
        start, end = burden.longest_quiet
        out.append(words("burden.quiet", span=span(end - start, words)))
    out.append(words("burden.crowds", floods=len(burden.floods), chatter=len(burden.chatter)))
    return out


def _burden(burden: Burden, words: Words) -> list[Component]:
    out: list[Component] = [html.Ul([html.Li(one) for one in burden_sentences(burden, words)])]
    rows: list[Sequence[Cell]] = []
    for reference in REFERENCES:
        ratio = burden.against(reference)
        times = MISSING if ratio is None else words("burden.times", ratio=number(ratio, 2))
        rows.append((words(reference.key), number(reference.per_day, 0), times))
    heads: tuple[str, ...] = ("burden.published", "burden.day", "burden.share")
    out.append(table(heads, rows, words("burden.published"), words))
    if burden.by_condition:
        heads = ("burden.condition", "burden.count", "burden.hour", "burden.stood", "burden.itself")
        out.append(table(heads, condition_rows(burden, words), words("burden.condition"), words))
    return out


def condition_rows(burden: Burden, words: Words) -> list[Sequence[Cell]]:
    """Return the alarm table: condition, times, an hour, time it stood, ended by itself."""
    return [
        (
            words(KEY_OF[one.condition]),
            str(one.activations),
            words.number(number(one.per_hour, 1)),
            span(one.standing_s * SECOND, words),
            str(one.ended_by_itself),
        )
        for one in burden.by_condition
    ]


def exposure_rows(morning: Morning, view: View) -> list[tuple[str, str, str]]:
    """Return exposure totals: what, how long, over how long it was judged."""
    words, found = view.words, morning.exposure
    judged = words("exposure.judged", span=span(found.purity_judged_min * MINUTE, words))
    rows = [
        (words("exposure.purity", limit=number(limit, 0)), span(minutes * MINUTE, words), judged)
        for limit, minutes in found.purity_under_min.items()
    ]
    judged = words("exposure.judged", span=span(found.breaths_judged_min * MINUTE, words))
    for limit, minutes in found.peak_over_min.items():
        shown = number(in_unit(limit, view.unit), 0)
        what = words("exposure.peak", limit=shown, unit=unit_word(view.unit, words))
        rows.append((what, span(minutes * MINUTE, words), judged))
    watched = words("exposure.judged", span=span(morning.burden.watched_h * HOUR, words))
    rows += [
        (words(f"exposure.{name}"), span(minutes * MINUTE, words), watched)
        for name, minutes in found.states_min.items()
    ]
    return rows + _entered_rows(found, words)


def _entered_rows(found: Exposure, words: Words) -> list[tuple[str, str, str]]:
    """Return the totals that rest on entries by hand, with how long one of them had to stand for."""
    held = words("exposure.held", span=span((found.entry_held_h or 0.0) * HOUR, words))
    rows = []
    if found.oxygen_l is not None:
        given = words("exposure.litres", value=number(found.oxygen_l, 0))
        rows.append((words("exposure.oxygen"), given, held))
    if found.agent_ml is not None:
        used = words("exposure.millilitres", value=number(found.agent_ml, 1))
        rows.append((words("exposure.agent"), used, held))
    return rows


def _exposure(morning: Morning, view: View) -> Component:
    return table((), exposure_rows(morning, view), view.words("exposure.title"), view.words)


def _hours(morning: Morning, view: View) -> list[Component]:
    """Return breathing by the hour: how many breaths, median and range; an hour without breaths says so."""
    words, facts = view.words, morning.facts
    hours = hourly(morning.breaths, night_hours(facts.start_ms, facts.end_ms, view.zone), ())
    # Where the clock is changed, one hour may come twice: the offset tells them apart.
    offsets = [offset(one.hour.start_ms, view.zone) for one in hours]
    rows: list[Sequence[Cell]] = []
    for one, zone in zip(hours, offsets, strict=True):
        start = clock(one.hour.start_ms, view.zone)
        found = {measure.measure: measure for measure in one.measures}
        rows.append(
            (
                start if len(set(offsets)) == 1 else f"{start} {zone}",
                str(one.breaths),
                _ranged(found["rate_min"], 1.0, words),
                _ranged(found["peak"], in_unit(1.0, view.unit), words),
                _ranged(found["end_expiratory"], in_unit(1.0, view.unit), words),
            )
        )
    heads = ("hours.hour", "hours.breaths", "hours.rate", "hours.peak", "hours.end_expiratory")
    note = html.P(words("hours.note", unit=unit_word(view.unit, words)), className="soft")
    return [note, table(heads, rows, words("hours.title"), words)]


def _ranged(one: HourMeasure, scale: float, words: Words) -> str:
    if one.median is None or one.low is None or one.high is None:
        return MISSING
    low, median, high = (number(value * scale, 1) for value in (one.low, one.median, one.high))
    return words("hours.range", median=median, low=low, high=high)


def _earlier(morning: Morning, path: str, view: View) -> list[Component]:
    words = view.words
    if not morning.before:
        return [html.P(words("summary.no_nights_to_compare"), className="soft")]
    rows: list[Sequence[Cell]] = []
    for night, figures in zip(morning.before, morning.facts.earlier, strict=True):
        place = Place(module=night.module, night=night.start)
        name = words("night.entry", date=date(night.start, view.zone))
        rows.append(
            (
                link(name, links.address(path, place)),
                number(figures.alarms_per_hour, 1),
                number(figures.purity_low_min, 0),
                number(figures.outage_min, 0),
            )
        )
    names = ("alarms_per_hour", "purity_low_min", "outage_min")
    heads = ("night.column.night", *(f"summary.what.{name}" for name in names))
    return [table(heads, rows[::-1], words("compare.title"), words)]


def _said(cell: Cell, words: Words) -> Cell:
    return words.number(cell) if isinstance(cell, Number) else cell


def table(
    heads: Sequence[str], rows: Sequence[Sequence[Cell]], name: str, words: Words
) -> Component:
    """Return a table in a box that scrolls by itself; `heads` are text keys, `name` is for screen readers."""
    parts: list[Component] = []
    if heads:
        parts.append(html.Thead(html.Tr([html.Th(words(key), scope="col") for key in heads])))
    cells = [[_said(cell, words) for cell in row] for row in rows]
    body = [html.Tr([html.Th(row[0], scope="row"), *map(html.Td, row[1:])]) for row in cells]
    parts.append(html.Tbody(body))
    return html.Div(
        html.Table(parts, className="ledger"),
        className="ledger-box",
        role="region",
        tabIndex=0,
        **attributes(aria_label=name),
    )
