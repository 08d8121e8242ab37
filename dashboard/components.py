"""Small pieces that several pages use; every word comes from the catalogue."""

from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.formats import clock, number, span
from dashboard.frames import Alarm
from dashboard.theme import PRIORITY_ROLES
from dashboard.view import View

Children = Any


def attributes(**named: str) -> dict[str, Any]:
    """Return attributes with hyphens in their names: aria_label becomes aria-label."""
    return {name.replace("_", "-"): value for name, value in named.items()}


def badge(priority: int, view: View) -> Component:
    """Return a priority as colour, shape and word."""
    role = PRIORITY_ROLES[priority]
    return html.Span(
        [
            html.Span(className="mark", **attributes(aria_hidden="true")),
            html.Span(view.words(f"priority.{role}")),
        ],
        className=f"badge badge-{role}",
    )


def since(utc_ms: int, view: View, key: str, **params: object) -> Component:
    """Return a text with an age in it, which the browser keeps counting by its own timer.

    The text of `key` has a place {age}.
    """
    age = span(max(view.now - utc_ms, 0), view.words)
    open_text = view.words(key, age="{age}", **params)
    return html.Span(
        view.words(key, age=age, **params),
        className="age",
        **attributes(data_since=str(utc_ms), data_text=open_text),
    )


def reached(alarm: Alarm, view: View) -> str:
    """Return the value that raised an alarm against its limit, empty where the row watches a code."""
    if alarm.value is None or alarm.limit is None:
        return ""
    digits = 0 if alarm.unit in ("s", "min", "%", "") else 1
    with_unit = f"{view.words.number(number(alarm.limit, digits))} {alarm.unit}".strip()
    return view.words("now.reached", value=number(alarm.value, digits), limit=with_unit)


def link(text: Children, href: str, **options: Any) -> Component:
    """Return a link that stays inside the pages."""
    return dcc.Link(text, href=href, **options)


def at(utc_ms: int, view: View) -> Component:
    """Return a time of day with its machine-readable form."""
    return html.Time(clock(utc_ms, view.zone, seconds=True), dateTime=str(utc_ms))


def notice(title: str, text: str) -> Component:
    """Return a page's body that has nothing else to show."""
    return html.Div([html.H1(title), html.P(text, className="lead")], className="notice")
