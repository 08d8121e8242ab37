"""The check lists on Set-up: each step with its result; the open one with what to do and what is seen now."""

from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.check_words import complete_ms, figure, how, rows, when
from dashboard.components import attributes
from dashboard.formats import clock
from dashboard.reports.sheet_route import sheet_address
from dashboard.setup_doing import Standing
from dashboard.view import View
from ingest.analysis.guided.run import Attempt
from ingest.analysis.guided.table import LISTS
from ingest.store.reader import Module


def lists(found: list[Standing], module: Module, view: View) -> list[Component]:
    """Return all lists."""
    return [_list(one, module, view) for one in found]


def live(found: list[Standing], view: View) -> list[str]:
    """Return what is seen now of each list's open step, empty where none is open."""
    said = []
    for one in found:
        if one.verdict is None:
            said.append("")
            continue
        state = view.words(f"setup.state.{one.verdict.state}")
        seen = " · ".join(filter(None, (how(one.verdict, view), figure(one.verdict, view))))
        said.append(f"{state}: {seen}")
    return said


def _list(one: Standing, module: Module, view: View) -> Component:
    words, run = view.words, one.run
    done = complete_ms(run)
    if run is None:
        head = words("setup.never")
    elif done is None:
        head = words("setup.begun", when=when(run.begun_ms, view))
    else:
        head = words("setup.complete", when=when(done, view))
    attempt = None if run is None else run.attempt
    parts: list[Component] = [
        html.H2(words(f"list.name.{one.list_name}")),
        html.P(head, className="soft"),
    ]
    if attempt is not None:
        parts.append(_open(one, attempt, view))
    else:
        # The place of the live words is always there, so that one callback can fill it.
        parts.append(html.P(id={"kind": ids.SETUP_LIVE, "list": one.list_name}, hidden=True))
    parts.append(_steps(one, view, closed=attempt is not None))
    parts.append(_foot(one, module, view))
    return html.Section(parts, className="check-list")


def _open(one: Standing, attempt: Attempt, view: View) -> Component:
    words, step = view.words, attempt.step
    return html.Div(
        [
            html.Strong(words(f"step.{step.name}")),
            html.Span(words("setup.open", clock=clock(attempt.begun_ms, view.zone)), className="soft"),
            html.P(words(f"step.{step.name}.do")),
            html.P(
                live([one], view)[0], id={"kind": ids.SETUP_LIVE, "list": one.list_name}, className="live",
                role="status", **attributes(aria_live="polite"),
            ),
            html.Div(
                [_button(what, f"setup.{what}", one.list_name, view) for what in _offers(one, attempt)],
                className="moves",
            ),
        ],
        className="asked open-step",
    )  # fmt: skip


def _offers(one: Standing, attempt: Attempt) -> list[str]:
    """Return what may be done with the open step now."""
    assert one.verdict is not None, "an open step has a verdict"
    step, state = attempt.step, one.verdict.state
    if attempt.measured_ms is None and state == "waiting":
        return ["again", "stop"]
    if step.confirm and state != "failed":
        return ["yes", "no", "stop"] if state == "passed" else ["no", "stop"]
    if state != "waiting":
        return ["take", "stop"]
    return ["finish", "stop"] if step.by_hand else ["stop"]


def _button(what: str, key: str, list_name: str, view: View, step: str = "", **options: Any) -> Component:
    return html.Button(
        view.words(key), id={"kind": ids.SETUP_DO, "list": list_name, "do": what, "step": step},
        className="button", n_clicks=0, **options,
    )  # fmt: skip


def _steps(one: Standing, view: View, *, closed: bool) -> Component:
    words, items = view.words, []
    for name, said in zip(LISTS[one.list_name], rows(one.run, one.list_name, view), strict=True):
        step, state, value, seen, who = said
        done = bool(seen)
        key = "setup.again_step" if done else "setup.begin_step"
        spoken = words("setup.step", do=words(key), step=step, list=words(f"list.name.{one.list_name}"))
        button = _button("step", key, one.list_name, view, name, disabled=closed,
                         **attributes(aria_label=spoken))  # fmt: skip
        result = one.run.results.get(name) if one.run else None
        mark = "none" if result is None else result.verdict.state
        title: list[Any] = [html.Strong(step), " ", html.Span(state, className="state")]
        items.append(
            html.Li(
                [
                    html.Span(title, className="what"),
                    html.Span(value, className="figure"),
                    html.Span(" · ".join(part for part in (seen, who) if part), className="soft"),
                    button,
                ],
                className=f"step step-{mark}",
            )
        )
    return html.Ol(items, className="steps")


def _foot(one: Standing, module: Module, view: View) -> Component:
    words = view.words
    return html.Div(
        [
            _button("begin", "setup.begin", one.list_name, view, disabled=one.run is None),
            html.A(words("setup.sheet"), href=sheet_address(module.id, one.list_name), target="_blank",
                   className="button"),
            html.A(words("setup.pdf"), href=sheet_address(module.id, one.list_name, pdf=True),
                   target="_blank", className="button"),
        ],
        className="moves",
    )  # fmt: skip
