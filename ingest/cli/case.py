"""`nightkeel case`: start, end, list, show the cases of a module."""

import json
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ingest.errors import UserError

if TYPE_CHECKING:
    from collections.abc import Callable
    from zoneinfo import ZoneInfo

    from ingest.analysis.case_look import CaseLook
    from ingest.analysis.cases import Case

EPILOG = """\b
Examples:
  nightkeel case start --store night.db --mode ventilator --preset adult --operator "A. B."
  nightkeel case end --store night.db --operator "A. B."
  nightkeel case label --store night.db --case 2 --label "cot 4" --operator "A. B."
  nightkeel case list --store night.db
  nightkeel case show --store night.db --case 2"""


@click.group(epilog=EPILOG)
def case() -> None:
    """Start, end, label, list, show cases: trends, limits and reports belong to one.

    `start` and `end` go over the daemon to the module, which obeys and confirms; who and when stay in the
    store. A start while a case is open is refused, and no case is ever ended by itself.
    """


def _target(command: "Callable[..., None]") -> "Callable[..., None]":
    zone = click.option("--zone", default="UTC", show_default=True, help="Time zone of clock times.")
    command = zone(command)
    command = click.option("--module", help="Number of the module, in hexadecimal digits.")(command)
    store = click.Path(path_type=Path)
    return click.option("--store", required=True, type=store, help="Store of the module.")(command)


@case.command(epilog="\b\nExample:\n  nightkeel case start --store night.db --mode hand --preset child "
              "--operator AB")  # fmt: skip
@_target
@click.option("--mode", required=True, help="standby, ventilator, hand or spontaneous.")
@click.option("--preset", required=True, help="adult, child; infant where a site's values are in force.")
@click.option("--label", default="", help="What you call it; left out of every export and sealed file.")
@click.option("--operator", required=True, help="Name or initials; stays in the store.")
def start(
    store: Path, zone: str, module: str | None, mode: str, preset: str, label: str, operator: str
) -> None:
    """Start a case: the module takes mode and preset, and forgets the last patient's breath."""
    from firmware_sim.contract import commands
    from ingest.control_client import Client

    number, look = _look(store, module)
    _check_start(store, number, look, mode, preset)
    started, found = Client(store).start_case(
        number, mode=mode, preset=preset, label=label.strip(), operator=_named(operator)
    )
    _said(found, f"case {started} stands as not confirmed; look at the module")
    assert found is not None
    if found["result"] != commands.DONE:
        raise UserError(f"The module refused: {_why(found)}. No case was started.")
    click.echo(f"Case {started} began: {mode}, {preset}. Limits are the preset's: look at them and confirm.")


def _check_start(store: Path, number: int, look: "CaseLook", mode: str, preset: str) -> None:
    """Refuse in a sentence what the module would refuse in a word."""
    from ingest.analysis.refusal import Refused
    from ingest.case_requests import refuse_second
    from ingest.change_settings import PRESET, in_force

    refuse_second(look.cases)
    if preset == "infant" and in_force(store, number)[1].values[PRESET] != 2:
        raise Refused("refused.infant_not_supplied")


@case.command(epilog="\b\nExample:\n  nightkeel case end --store night.db --operator AB --at 03:40 "
              "--record-only")  # fmt: skip
@_target
@click.option("--operator", required=True, help="Name or initials; stays in the store.")
@click.option("--at", help="When it ended, HH:MM within the last 24 h or YYYY-MM-DDTHH:MM; left out: now.")
@click.option("--record-only", is_flag=True, help="Close the record only: the module is not there any more.")
def end(
    store: Path, zone: str, module: str | None, operator: str, at: str | None, record_only: bool
) -> None:
    """End the open case: the module goes to standby and forgets the patient's breath."""
    from firmware_sim.contract import commands
    from ingest.control_client import Client

    number, look = _look(store, module)
    when = None if at is None else _time(at, _zone(zone), _now())
    name = _named(operator)
    if record_only and not Client(store).running():
        ended = _close_record(store, look, when, name)
    else:
        ended, found = Client(store).end_case(number, operator=name, end=when, record_only=record_only)
        if not record_only:
            _said(found, "the case stays open")
            assert found is not None
            if found["result"] != commands.DONE:
                raise UserError(f"The module refused: {_why(found)}. The case stays open.")
    click.echo(f"Case {ended} has ended." + (" Only in the record." if record_only else " Standby."))


def _close_record(store: Path, look: "CaseLook", when: int | None, operator: str) -> int:
    from ingest.analysis.cases import ENDED, checked_end
    from ingest.analysis.refusal import Refused
    from ingest.marks import change_mark

    if look.open is None:
        raise Refused("refused.no_open_case")
    now, one = _now(), look.open
    at = checked_end(one, when or now, now)
    change_mark(store, one.mark, now, author=operator, data=one.data(ENDED), utc_end=at)
    return one.number


@case.command(epilog="\b\nExample:\n  nightkeel case label --store night.db --case 2 --label 'cot 4' "
              "--operator AB")  # fmt: skip
@_target
@click.option("--case", "wanted", type=int, required=True, help="Number of the case.")
@click.option("--label", "text", required=True, help="What you call it; '' takes the label off.")
@click.option("--operator", required=True, help="Name or initials; stays in the store.")
def label(store: Path, zone: str, module: str | None, wanted: int, text: str, operator: str) -> None:
    """Correct what a case is called; the old label stays in its history."""
    from ingest.analysis.cases import numbered, relabelled
    from ingest.marks import change_mark

    del zone
    _, look = _look(store, module)
    one = numbered(look.cases, wanted)
    new, data = relabelled(one, text)
    change_mark(store, one.mark, _now(), author=_named(operator), text=new, data=data)
    click.echo(f"Case {one.number} is called {new} now." if new else f"Case {one.number} has no label now.")


@case.command("list", epilog="\b\nExample:\n  nightkeel case list --store night.db --json")
@_target
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def list_(store: Path, zone: str, module: str | None, as_json: bool) -> None:
    """List the cases of a module, oldest first."""
    _, look = _look(store, module)
    where = _zone(zone)
    if as_json:
        click.echo(json.dumps({"cases": [_plain(one) for one in look.cases]}))
        return
    for one in look.cases:
        click.echo(_line(one, where))
    if not look.cases:
        click.echo("No case was started yet.")
    for question in look.questions:
        click.echo(f"Is it still going on? {question.noticed.capitalize()}.")


@case.command(epilog="\b\nExample:\n  nightkeel case show --store night.db")
@_target
@click.option("--case", "wanted", type=int, help="Number of the case; left out: the open one, else the last.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def show(store: Path, zone: str, module: str | None, wanted: int | None, as_json: bool) -> None:
    """Show one case: what it is, and what speaks for a forgotten end."""
    from ingest.analysis.cases import numbered
    from ingest.analysis.refusal import Refused

    _, look = _look(store, module)
    if not look.cases:
        raise Refused("refused.no_open_case")
    one = look.open or look.cases[-1] if wanted is None else numbered(look.cases, wanted)
    asked = look.questions if look.open is not None and one.mark == look.open.mark else ()
    if as_json:
        said = [{"key": each.key, "minutes": each.minutes, "noticed": each.noticed} for each in asked]
        click.echo(json.dumps(_plain(one) | {"ask": said}))
        return
    click.echo(_line(one, _zone(zone)))
    click.echo(f"  by {one.author}" + (f", called {one.label}" if one.label else ""))
    for old in look.old_labels.get(one.number, ()):
        until = _day(old.until_ms, _zone(zone))
        click.echo(f"  before: {old.label or 'no label'}, until {until}; changed by {old.by}")
    for question in asked:
        click.echo(f"  Is it still going on? {question.noticed.capitalize()}.")


def _look(store: Path, text: str | None) -> "tuple[int, CaseLook]":
    from ingest.analysis.case_look import case_look
    from ingest.store.reader import open_reader

    with open_reader(store) as reader:
        modules = {one.id: one for one in reader.modules()}
        if not modules:
            raise UserError(f"{store} holds no module yet; record into it with `nightkeel ingest`.")
        try:
            number = max(modules, key=lambda key: modules[key].last_utc) if text is None else int(text, 16)
            assert number in modules
        except (ValueError, AssertionError):
            known = ", ".join(f"{one:08x}" for one in modules)
            raise UserError(f"--module {text}: this store holds {known}.") from None
        latest, now = reader.latest(number), _now()
        live = latest is None or abs(now - latest.t) < 86_400_000
        return number, case_look(reader, number, now if live or latest is None else latest.t)


def _line(one: "Case", zone: "ZoneInfo") -> str:
    until = "open" if one.end is None else f"to {_day(one.end, zone)}"
    state = ", not confirmed by the module" if one.state == "asked" else ""
    return f"case {one.number}: {_day(one.start, zone)} {until} ({zone.key}), {one.mode}, {one.preset}{state}"


def _day(at: int, zone: "ZoneInfo") -> str:
    from datetime import UTC, datetime

    return f"{datetime.fromtimestamp(at / 1000, UTC).astimezone(zone):%Y-%m-%d %H:%M}"


def _plain(one: "Case") -> dict[str, Any]:
    return {
        "number": one.number, "module": f"{one.module:08x}", "start_ms": one.start, "end_ms": one.end,
        "mode": one.mode, "preset": one.preset, "state": one.state,
    }  # fmt: skip


def _said(found: dict[str, Any] | None, what_then: str) -> None:
    if found is None:
        raise UserError(f"The module has not answered; {what_then}.")


def _why(found: dict[str, Any]) -> str:
    from firmware_sim.contract import commands

    return str(found["text"] or commands.RESULTS[int(found["result"])].replace("_", " "))


def _named(operator: str) -> str:
    if not operator.strip():
        raise UserError("--operator must not be empty: write your name or initials.")
    return operator.strip()


def _now() -> int:
    return time.time_ns() // 1_000_000


def _zone(name: str) -> "ZoneInfo":
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise UserError(f"There is no time zone {name!r}; name one like Africa/Nairobi or UTC.") from None


def _time(text: str, zone: "ZoneInfo", now_ms: int) -> int:
    from datetime import UTC, datetime, timedelta
    from datetime import time as time_of_day

    now = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(zone)
    try:
        if "T" in text:
            return round(datetime.fromisoformat(text).replace(tzinfo=zone).timestamp() * 1000)
        clock = time_of_day.fromisoformat(text)
    except ValueError:
        raise UserError(f"--at {text}: write HH:MM or YYYY-MM-DDTHH:MM.") from None
    found = datetime.combine(now.date(), clock, tzinfo=zone)
    found -= timedelta(days=1) if found > now else timedelta(0)
    return round(found.timestamp() * 1000)
