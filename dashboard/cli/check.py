"""`nightkeel check`: go through the pre-use check or commissioning, each step measured by the module."""

import difflib
import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from ingest.analysis.guided.run import Guide, Run
    from ingest.store.reader import Module, Reader

EPILOG = """\b
Examples:
  nightkeel check status --store night.db --list commissioning
  nightkeel check begin --store night.db --operator "A. B."
  nightkeel check step supply --store night.db --operator "A. B."
  nightkeel check print --store night.db --out sheets
  nightkeel check first --store night.db"""

POLL_S = 1.0
LIVE_MS = 60_000


@click.group(epilog=EPILOG)
def check() -> None:
    """Go through the pre-use check or commissioning; every step is stored and can be resumed.

    The module measures, over the daemon that records it; a person only confirms what it can't see.
    """


def _common(command: "Callable[..., None]") -> "Callable[..., None]":
    lists, languages = click.Choice(("pre_use", "commissioning")), click.Choice(("en", "fr"))
    command = click.option("--list", "list_name", default="pre_use", show_default=True, type=lists,
                           help="Which list.")(command)  # fmt: skip
    command = click.option("--zone", default="UTC", show_default=True, help="Zone of shown times.")(command)
    command = click.option("--lang", default="en", show_default=True, type=languages,
                           help="Language.")(command)  # fmt: skip
    command = click.option("--module", help="Number of the module, in hexadecimal digits.")(command)
    path = click.Path(path_type=Path)
    return click.option("--store", required=True, type=path, help="Store of the module.")(command)


def _person(command: "Callable[..., None]") -> "Callable[..., None]":
    return click.option("--operator", required=True, help="Name or initials; stays in the store.")(command)


@check.command(epilog="\b\nExample:\n  nightkeel check status --store night.db --json")
@_common
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def status(as_json: bool, **asked: Any) -> None:
    """Show how each step of the newest run stands."""
    with _Session(asked, "") as session:
        run = session.guide().run(asked["list_name"])
        if as_json:
            click.echo(json.dumps(_as_object(run, asked["list_name"])))
            return
        session.show(run)


@check.command(epilog="\b\nExample:\n  nightkeel check begin --store night.db --operator AB")
@_common
@_person
def begin(operator: str, **asked: Any) -> None:
    """Begin a list anew; earlier runs stay in the record."""
    with _Session(asked, operator) as session:
        session.show(session.guide().begin(asked["list_name"]))


@check.command(epilog="\b\nExample:\n  nightkeel check step hold --store night.db --operator AB")
@click.argument("name")
@_common
@_person
@click.option("--second-source", is_flag=True, help="A second source stands ready and is tried.")
def step(name: str, operator: str, second_source: bool, **asked: Any) -> None:
    """Do one step and wait for its result; Ctrl-C leaves it open, the same command goes on with it.

    Exit status 1 when the step failed.
    """
    with _Session(asked, operator) as session:
        passed = session.do(name, second_source)
    raise SystemExit(0 if passed else 1)


@check.command(epilog="\b\nExample:\n  nightkeel check leave --store night.db --operator AB")
@_common
@_person
def leave(operator: str, **asked: Any) -> None:
    """Leave the open step without a result."""
    with _Session(asked, operator) as session:
        session.show(session.guide().stop(asked["list_name"]))


@check.command(epilog="\b\nExample:\n  nightkeel check first purity_low --store night.db")
@click.argument("place", required=False)
@_common
def first(place: str | None, **asked: Any) -> None:
    """Say what to check first for what stands now, or for PLACE: an alarm row, or state.NAME.

    Technical causes with today's evidence; a site changes them by `first-checks.toml` beside the store.
    """
    with _Session(asked, "") as session:
        session.first(place)


@check.command("print", epilog="\b\nExample:\n  nightkeel check print --store night.db --out sheets")
@_common
@click.option("--out", required=True, type=click.Path(path_type=Path, file_okay=False), help="Folder.")
def print_(out: Path, **asked: Any) -> None:
    """Write the sheet of the newest run as HTML and PDF."""
    from dashboard.reports.handover import write_files
    from dashboard.reports.sheet import sheet

    with _Session(asked, "") as session:
        page = sheet(session.reader, session.module, asked["list_name"], session.view())
    for path in write_files(page, out, f"{asked['list_name']}-{session.module.id:08x}"):
        click.echo(str(path))


def _as_object(run: "Run | None", list_name: str) -> dict[str, Any]:
    from ingest.analysis.guided.table import LISTS

    results = {} if run is None else run.results
    steps = {
        name: {"state": one.verdict.state, "value": one.verdict.value, "unit": one.verdict.unit,
               "at_ms": one.verdict.at_ms or one.at_ms, "who": one.author, "key": one.verdict.key}
        for name, one in results.items()
    }  # fmt: skip
    return {
        "list": list_name, "begun_ms": None if run is None else run.begun_ms,
        "open": None if run is None or run.attempt is None else run.attempt.step.name,
        "next": LISTS[list_name][0] if run is None else run.next_step, "steps": steps,
    }  # fmt: skip


class _Session:
    """Hold the store, the module and the person of one command."""

    def __init__(self, asked: dict[str, Any], operator: str) -> None:
        self.asked, self.operator = asked, operator

    def __enter__(self) -> "_Session":
        from dashboard.links import parse
        from dashboard.queries import choose_module
        from ingest.errors import UserError
        from ingest.store.reader import open_reader

        self.reader: Reader = open_reader(self.asked["store"])
        wanted = None if self.asked["module"] is None else parse(f"module={self.asked['module']}").module
        found = choose_module(self.reader, wanted)
        if found is None or (self.asked["module"] is not None and found.id != wanted):
            known = ", ".join(f"{one.id:08x}" for one in self.reader.modules()) or "none"
            self.reader.close()
            asked = self.asked["module"] or "at all"
            raise UserError(f"There is no module {asked} in this store; it holds {known}.")
        self.module: Module = found
        return self

    def __exit__(self, *_: object) -> None:
        self.reader.close()

    def view(self) -> Any:
        """Return words, zone and time for what is shown."""
        from dashboard.texts import Words
        from dashboard.theme import THEMES
        from dashboard.view import WIDTH_USUAL, View, zone_of
        from ingest.errors import UserError

        zone = zone_of(self.asked["zone"])
        if zone is None:
            raise UserError(f"There is no time zone {self.asked['zone']!r}; name one like Africa/Nairobi.")
        return View(words=Words(self.asked["lang"]), zone=zone, theme=THEMES[0], width=WIDTH_USUAL,
                    now=time.time_ns() // 1_000_000)  # fmt: skip

    def guide(self) -> "Guide":
        """Return a guide at this moment."""
        from dashboard.checking import guide

        now = time.time_ns() // 1_000_000
        return guide(self.reader, self.asked["store"], self.module.id, now, self.operator, from_page=False)

    def show(self, run: "Run | None") -> None:
        """Print one line a step."""
        from dashboard.check_words import rows, when

        view, name = self.view(), self.asked["list_name"]
        words = view.words
        begun = words("setup.never") if run is None else words("setup.begun", when=when(run.begun_ms, view))
        click.echo(f"{words(f'list.name.{name}')}: {begun}")
        for said in rows(run, name, view):
            click.echo("  ".join(part for part in (f"{said[0]:32}", *said[1:]) if part))
        if run is not None and run.attempt is not None:
            click.echo(words(f"step.{run.attempt.step.name}.do"))

    def first(self, place: str | None) -> None:
        """Print the tree of one place, or of what stands now."""
        from dashboard.first_look import lines, load, place_name, standing_places
        from ingest.analysis.evidence import Look
        from ingest.analysis.first_checks import PLACES, tree
        from ingest.errors import UserError

        view = self.view()
        latest = self.reader.latest(self.module.id)
        now = view.now if latest is None or abs(view.now - latest.t) < LIVE_MS else latest.t
        look, book = Look(self.reader, self.module.id, now), load(self.asked["store"])
        if place is not None and place not in PLACES:
            near = ", ".join(difflib.get_close_matches(place, PLACES, 3, 0.4)) or ", ".join(PLACES)
            raise UserError(f"There is no alarm row or state {place!r}; try {near}.")
        for one in standing_places(book, look) if place is None else [place]:
            click.echo(place_name(one, view))
            for line in lines(tree(book, one, look), view):
                click.echo(line)

    def do(self, name: str, second_source: bool) -> bool:
        """Begin a step, or go on with it; wait for its result and say it."""
        list_name = self.asked["list_name"]
        run = self.guide().run(list_name) or self.guide().begin(list_name)
        if run.attempt is None or run.attempt.step.name != name:
            run = self.guide().start(list_name, name, second_source=second_source)
        words = self.view().words
        click.echo(words(f"step.{name}.do"))
        assert run.attempt is not None, "it was just begun"
        if run.attempt.measured_ms is None:
            click.confirm(words("setup.again"), abort=True)
            self.guide().again(list_name)
        return self._watch(name)

    def _watch(self, name: str) -> bool:
        from dashboard.check_words import figure, how

        list_name, said = self.asked["list_name"], ""
        while True:
            run, verdict = self.guide().look(list_name)
            view = self.view()
            new = "" if verdict is None else f"{how(verdict, view)} {figure(verdict, view)}".strip()
            if new != said:
                click.echo(new)
                said = new
            if run.attempt is None:
                return bool(run.results[name].verdict.state == "passed")
            if run.attempt.step.confirm and verdict is not None and verdict.state == "passed":
                right = click.confirm(view.words("setup.yes"))
                run = self.guide().confirm(list_name, right=right)
                return bool(run.results[name].verdict.state == "passed")
            time.sleep(POLL_S)
