"""`nightkeel upkeep`: the maintenance log, what is due, how sieve and battery wear."""

import json
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from dashboard.view import View
    from ingest.store.reader import Module, Reader

EPILOG = """\b
Examples:
  nightkeel upkeep add filter cleaned --store night.db --operator "A. B."
  nightkeel upkeep add concentrator hours_read --hours 4120 --store night.db --operator AB
  nightkeel upkeep due --store night.db
  nightkeel upkeep list --store night.db"""


@click.group(epilog=EPILOG)
def upkeep() -> None:
    """Keep the maintenance log: battery, sieve, filter, cell, cylinder, calibration, concentrator.

    Entries stay with their history; intervals are common practice, an entry may set its own.
    """


def _common(command: "Callable[..., None]") -> "Callable[..., None]":
    languages, path = click.Choice(("en", "fr")), click.Path(path_type=Path)
    command = click.option("--lang", default="en", show_default=True, type=languages,
                           help="Language.")(command)  # fmt: skip
    command = click.option("--zone", default="UTC", show_default=True, help="Zone of shown times.")(command)
    command = click.option("--module", help="Number of the module, in hexadecimal digits.")(command)
    return click.option("--store", required=True, type=path, help="Store of the module.")(command)


@upkeep.command(epilog="\b\nExample:\n  nightkeel upkeep add sieve changed --hours 15200 --store night.db "
                "--operator AB")  # fmt: skip
@click.argument("part")
@click.argument("deed")
@_common
@click.option("--operator", required=True, help="Name or initials; stays in the store.")
@click.option("--hours", help="Reading of the concentrator's counter, h.")
@click.option("--due-days", help="Due again after so many days, in place of the usual interval.")
@click.option("--day", help="When it was done, YYYY-MM-DD; left out: now.")
@click.option("--text", default="", help="A note beside it.")
def add(
    part: str, deed: str, operator: str, hours: str | None, due_days: str | None, day: str | None, text: str,
    **asked: Any,
) -> None:  # fmt: skip
    """Write down that DEED was done to PART."""
    from dashboard.upkeep_words import enter

    reader, module, view = opened(asked)
    with reader:
        told = {"part": part, "deed": deed, "hours": hours, "due_days": due_days, "text": text}
        at = view.now if day is None else _noon(day, view)
        number = enter(
            reader, asked["store"], module.id, told=told, author=operator, at_ms=at, now=view.now
        )
    click.echo(f"Entry {number} is written.")


@upkeep.command(epilog="\b\nExample:\n  nightkeel upkeep due --store night.db --json")
@_common
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def due(as_json: bool, **asked: Any) -> None:
    """Say what is due, the hours of the concentrator, and how sieve and battery wear."""
    from dashboard.upkeep_words import due_line, dues, hours_line, log_of, trend_lines

    reader, module, view = opened(asked)
    with reader:
        log = log_of(reader, module.id)
        found = dues(reader, module.id, log, view.now)
        if as_json:
            parts = {one.part: {"state": one.state(view.now), "last_ms": one.last_ms, "due_ms": one.due_ms,
                                "hours_left": one.hours_left} for one in found}  # fmt: skip
            click.echo(json.dumps({"parts": parts}))
            return
        lines = [due_line(one, view) for one in found]
        for line in (*lines, hours_line(log, view), *trend_lines(reader, module.id, log, view)):
            click.echo(line)


@upkeep.command("list", epilog="\b\nExample:\n  nightkeel upkeep list --store night.db --zone Africa/Nairobi")
@_common
def list_(**asked: Any) -> None:
    """Print the log, newest first."""
    from dashboard.check_words import when
    from dashboard.upkeep_words import entry_line, log_of

    reader, module, view = opened(asked)
    with reader:
        for one in reversed(log_of(reader, module.id)):
            click.echo(f"{when(one.at_ms, view)}  {one.author}  {entry_line(one, view)}")


def opened(asked: dict[str, Any]) -> "tuple[Reader, Module, View]":
    """Return reader, module and view of a command's options; raise UserError for what isn't there."""
    from dashboard.links import parse
    from dashboard.queries import choose_module
    from dashboard.texts import Words
    from dashboard.theme import THEMES
    from dashboard.view import WIDTH_USUAL, View, zone_of
    from ingest.errors import UserError
    from ingest.store.reader import open_reader

    zone = zone_of(asked["zone"])
    if zone is None:
        raise UserError(f"There is no time zone {asked['zone']!r}; name one like Africa/Nairobi.")
    reader = open_reader(asked["store"])
    wanted = None if asked["module"] is None else parse(f"module={asked['module']}").module
    module = choose_module(reader, wanted)
    if module is None or (asked["module"] is not None and module.id != wanted):
        known = ", ".join(f"{one.id:08x}" for one in reader.modules()) or "none"
        reader.close()
        raise UserError(f"There is no module {asked['module'] or 'at all'} in this store; it holds {known}.")
    now = time.time_ns() // 1_000_000
    return reader, module, View(words=Words(asked["lang"]), zone=zone, theme=THEMES[0], width=WIDTH_USUAL,
                                now=now)  # fmt: skip


def _noon(day: str, view: "View") -> int:
    """Return noon of a day in the zone shown, UTC ms; today: now."""
    from ingest.errors import UserError

    try:
        at = datetime.strptime(day, "%Y-%m-%d").replace(hour=12, tzinfo=view.zone)
    except ValueError:
        raise UserError(f"--day {day}: write it as YYYY-MM-DD.") from None
    utc = min(round(at.timestamp() * 1000), view.now)
    if round(at.timestamp() * 1000) - view.now > 86_400_000:
        raise UserError(f"--day {day} lies in the future; write down what was done.")
    return utc
