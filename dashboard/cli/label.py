"""`nightkeel label`: what people know of a supply and the module can't, for the study."""

import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ingest.errors import UserError

if TYPE_CHECKING:
    from collections.abc import Callable
    from zoneinfo import ZoneInfo

    from dashboard.marking import Draft
    from dashboard.texts import Words
    from ingest.store.reader import Mark, Module

EPILOG = """\b
Examples:
  nightkeel label site --store clinic.db --phase L2 --feeder hospital --generator "20 kVA diesel" --by AB
  nightkeel label time --store clinic.db --from 2026-05-11T18:00 --to 2026-05-11T19:10 --was fault --by AB
  nightkeel label trip --store clinic.db --at 2026-05-11T18:00:05 --equipment concentrator --by AB
  nightkeel label watched --store clinic.db --from 2026-05-01 --to 2026-06-01 --equipment concentrator --by AB
  nightkeel label list --store clinic.db"""


@click.group(epilog=EPILOG)
def label() -> None:
    """Say what you know of a supply: where it is measured, why it failed, which equipment a dip stopped.

    The study uses it: labels beside events, and the equipment's own ride-through curve.
    """


def _target(command: "Callable[..., None]") -> "Callable[..., None]":
    zone = click.option("--zone", default="UTC", show_default=True, help="Time zone of the times.")
    module = click.option("--module", "wanted", metavar="NUMBER", help="Module; default: the one heard last.")
    store = click.option(
        "--store", required=True, type=click.Path(path_type=Path), help="Store of the module."
    )
    return store(module(zone(command)))


def _who(command: "Callable[..., None]") -> "Callable[..., None]":
    return click.option("--by", "author", default="", help="Your name or initials; stays in the store.")(
        command
    )


def _stretch(command: "Callable[..., None]") -> "Callable[..., None]":
    begin = click.option("--from", "begin", required=True, metavar="TIME", help="Begin.")
    end = click.option("--to", "end", required=True, metavar="TIME", help="End.")
    return begin(end(command))


def _open(
    store: Path, wanted: str | None, zone: str
) -> "tuple[Module, tuple[int, int] | None, ZoneInfo, Words]":
    from dashboard.reports.study_ask import module_of
    from dashboard.texts import Words
    from dashboard.view import zone_of
    from ingest.store.reader import open_reader

    words = Words()
    found = zone_of(zone)
    if found is None:
        raise UserError(words("study.bad.zone", text=zone))
    with open_reader(store) as reader:
        module = module_of(reader, store, words, wanted)
        return module, reader.span(module.id), found, words


def _now() -> int:
    return round(time.time() * 1000)


def _put(store: Path, module: "Module", draft: "Draft") -> None:
    from dashboard.marking import write

    click.echo(f"Mark {write(store, module.id, draft, _now())} stands in {store}.")


@label.command(
    epilog="\b\nExample:\n  nightkeel label site --store clinic.db --phase L2 --feeder hospital --by AB"
)
@_target
@click.option("--phase", default="", help="Which phase the module sits on.")
@click.option("--feeder", default="", help="Which feeder.")
@click.option("--generator", default="", help="What generator stands behind it.")
@_who
def site(
    store: Path, wanted: str | None, zone: str, phase: str, feeder: str, generator: str, author: str
) -> None:
    """Say where the module measures; a later word replaces an earlier one."""
    from dashboard.site_marks import about_site

    module, _, _, words = _open(store, wanted, zone)
    about = {"phase": phase, "feeder": feeder, "generator": generator}
    _put(store, module, about_site(about, author, _now(), words))


@label.command("time", epilog="\b\nExample:\n  nightkeel label time --store clinic.db --from 2026-05-11T18:00"
               " --to 2026-05-11T19:10 --was fault --by AB")  # fmt: skip
@_target
@_stretch
@click.option("--was", required=True, help="load-shedding, fault, generator or switching.")
@_who
def time_(store: Path, wanted: str | None, zone: str, begin: str, end: str, was: str, author: str) -> None:
    """Say why the supply was as it was over a time: every event inside carries the label."""
    from dashboard.site_marks import LABELS

    if was not in LABELS:
        raise UserError(_open(store, wanted, zone)[3]("label.bad.known", text=was, known=", ".join(LABELS)))
    _write(store, wanted, zone, was, (begin, end), "", author)


@label.command(epilog="\b\nExample:\n  nightkeel label trip --store clinic.db --at 2026-05-11T18:00:05 "
               "--equipment pump --by AB")  # fmt: skip
@_target
@click.option("--at", required=True, metavar="TIME", help="When it stopped.")
@click.option("--equipment", required=True, help="What stopped.")
@_who
def trip(store: Path, wanted: str | None, zone: str, at: str, equipment: str, author: str) -> None:
    """Say that equipment stopped; the study finds the dip that did it."""
    from dashboard.site_marks import TRIP

    _write(store, wanted, zone, TRIP, (at, None), equipment, author)


@label.command(epilog="\b\nExample:\n  nightkeel label watched --store clinic.db --from 2026-05-01 "
               "--to 2026-06-01 --equipment pump --by AB")  # fmt: skip
@_target
@_stretch
@click.option("--equipment", required=True, help="What ran.")
@_who
def watched(
    store: Path, wanted: str | None, zone: str, begin: str, end: str, equipment: str, author: str
) -> None:
    """Say that equipment ran and would have been seen to stop: its dips without a trip were survived."""
    from dashboard.site_marks import WATCHED

    _write(store, wanted, zone, WATCHED, (begin, end), equipment, author)


def _write(
    store: Path, wanted: str | None, zone: str, what: str, times: tuple[str, str | None], equipment: str,
    author: str,
) -> None:  # fmt: skip
    from dashboard.site_marks import about_time, moment

    module, span, where, words = _open(store, wanted, zone)
    begin = moment(times[0], where, words)
    end = None if times[1] is None else moment(times[1], where, words)
    _put(store, module, about_time(what, (begin, end), equipment, author, span, words))


@label.command("list", epilog="\b\nExample:\n  nightkeel label list --store clinic.db --json")
@_target
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def list_(store: Path, wanted: str | None, zone: str, as_json: bool) -> None:
    """List what was said, oldest first."""
    import json
    from datetime import datetime

    from dashboard.site_marks import said_of

    def local(utc_ms: int) -> str:
        return datetime.fromtimestamp(utc_ms / 1000, where).isoformat(" ", "seconds")

    where, words, marks = _marks(store, wanted, zone)
    if as_json:
        click.echo(json.dumps({"marks": [_plain(mark) for mark in marks]}))
        return
    for mark in marks:
        when = local(mark.utc) + ("" if mark.utc_end is None else f" – {local(mark.utc_end)}")
        click.echo(
            words("label.line", number=mark.mark, when=when, what=words(f"mark.kind.{mark.kind}"),
                  said=said_of(mark), author=mark.author)
        )  # fmt: skip
    if not marks:
        click.echo(words("label.none"))


def _marks(store: Path, wanted: str | None, zone: str) -> "tuple[ZoneInfo, Words, list[Mark]]":
    from dashboard.site_marks import site_marks
    from ingest.store.reader import open_reader

    module, _, where, words = _open(store, wanted, zone)
    with open_reader(store) as reader:
        return where, words, site_marks(reader, module.id)


def _plain(mark: "Mark") -> dict[str, Any]:
    return {"mark": mark.mark, "kind": mark.kind, "utc_ms": mark.utc, "utc_end_ms": mark.utc_end,
            "data": dict(mark.data), "author": mark.author}  # fmt: skip


@label.command(epilog="\b\nExample:\n  nightkeel label remove 7 --store clinic.db --by AB")
@_target
@click.argument("number", type=int)
@_who
def remove(store: Path, wanted: str | None, zone: str, number: int, author: str) -> None:
    """Take a mark off; its history stays in the store."""
    from dashboard.marking import remove as take_off

    _, words, marks = _marks(store, wanted, zone)
    if number not in {mark.mark for mark in marks}:
        raise UserError(words("label.bad.number", number=number))
    if not author.strip():
        raise UserError(words("label.bad.author"))
    take_off(store, number, author.strip(), _now())
    click.echo(words("label.removed"))
