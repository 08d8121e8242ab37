"""Say guided checks in words: a step, its figure, its time, who."""

from dashboard.formats import clock, date, number
from dashboard.view import View
from ingest.analysis.guided.run import Result, Run
from ingest.analysis.guided.sight import Verdict
from ingest.analysis.guided.table import LISTS


def figure(verdict: Verdict, view: View) -> str:
    """Return the figure with its unit, empty where there is none."""
    if verdict.value is None:
        return ""
    value = number(verdict.value, verdict.digits)
    return view.words("setup.figure", value=value, unit=view.words("data", text=verdict.unit))


def how(verdict: Verdict, view: View) -> str:
    """Return what was seen, in words; a row of the alarm table by its name."""
    params = dict(verdict.params)
    if "row" in params:
        params["row"] = view.words(f"alarm.{params['row']}")
    return view.words(verdict.key, **params)


def when(utc_ms: int, view: View) -> str:
    """Return date and time of day."""
    return view.words("time.day", date=date(utc_ms, view.zone), clock=clock(utc_ms, view.zone))


def rows(run: Run | None, list_name: str, view: View) -> list[tuple[str, str, str, str, str]]:
    """Return (step, result, figure, how, when and who) of each step of a list."""
    results = {} if run is None else run.results
    return [_row(name, results.get(name), view) for name in LISTS[list_name]]


def _row(name: str, result: Result | None, view: View) -> tuple[str, str, str, str, str]:
    words = view.words
    said = words(f"step.{name}")
    if result is None:
        return said, words("setup.state.not_done"), "", "", ""
    verdict = result.verdict
    at = verdict.at_ms if verdict.at_ms is not None else result.at_ms
    who = words("setup.at", when=when(at, view), who=words("data", text=result.author))
    return said, words(f"setup.state.{verdict.state}"), figure(verdict, view), how(verdict, view), who


def complete_ms(run: Run | None) -> int | None:
    """Return when the last step passed, None while one is missing."""
    if run is None or run.next_step is not None:
        return None
    return max(one.at_ms for one in run.results.values())
