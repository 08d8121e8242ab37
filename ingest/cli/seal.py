"""`nightkeel seal`: seal a case, or the minutes around an event; check a sealed file."""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ingest.errors import UserError

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from ingest.analysis.cases import Case
    from ingest.store.reader import Module, Reader

EPILOG = """\b
Examples:
  nightkeel seal night.db --case 3 --out case-3.zip
  nightkeel seal night.db --around 2026-02-28T23:40 --zone Africa/Nairobi --out event.zip
  nightkeel seal case-3.zip --check --hash 9f86d081..."""


@click.command(epilog=EPILOG)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--case", "number", type=int, help="Seal the whole case of this number.")
@click.option("--around", metavar="TIME", help="Or ten minutes before and after this time, YYYY-MM-DDTHH:MM.")
@click.option("--out", type=click.Path(path_type=Path), help="Sealed file to write, a ZIP.")
@click.option("--identified", is_flag=True, help="Keep names, places, dates and what people typed.")
@click.option("--module", help="Number of the module, in hexadecimal digits; default: the last heard.")
@click.option("--zone", default="UTC", show_default=True, help="Time zone of --around.")
@click.option("--check", "checking", is_flag=True, help="FILE is a sealed one: say whether it was changed.")
@click.option("--hash", "total", help="With --check: the total hash that was written down.")
def seal(
    file: Path,
    number: int | None,
    around: str | None,
    out: Path | None,
    identified: bool,
    module: str | None,
    zone: str,
    checking: bool,
    total: str | None,
) -> None:
    """Seal a case of a store as one file that is read without nightkeel; or check one.

    CSV, EDF+, JSON, text, a SHA-256 for each, and a total hash that is printed: write it down. Without
    --identified nothing that people typed, no names, places or dates leave.
    """
    from ingest.exports.sealed import check

    if checking:
        found = check(file.read_bytes(), total)
        simulated = " SIMULATED." if found.simulated else ""
        known = "" if total is None else " It is the one that was written down."
        click.echo(f"{found.files} files, none changed since sealing.{simulated}")
        click.echo(f"total hash {found.total}{known}")
        return
    if (number is None) == (around is None) or out is None:
        raise UserError("Name what to seal with --case N or --around TIME, and where with --out FILE.")
    if out.exists():
        raise UserError(f"{out} is there already and stays as it is; name another file.")
    data, sealed = _sealed(file, number, around, module, zone, identified)
    out.write_bytes(data)
    click.echo(f"{out}: {len(data)} bytes, {'identified' if identified else 'de-identified'}")
    click.echo(f"total hash {sealed}")


def _sealed(
    store: Path, number: int | None, around: str | None, module: str | None, zone: str, identified: bool
) -> tuple[bytes, str]:
    import time

    from ingest.analysis.case_look import case_span
    from ingest.analysis.cases import KIND, cases, numbered
    from ingest.exports.recorded import chosen_module
    from ingest.exports.sealed import AROUND_MS
    from ingest.exports.sealed import seal as sealed
    from ingest.store.reader import open_reader

    with open_reader(store) as reader:
        chosen, case = chosen_module(reader, module), None
        if number is not None:
            case = numbered(cases(reader.marks(chosen.id, kind=KIND)), number)
            start, end = case_span(reader, case, time.time_ns() // 1_000_000)
        else:
            assert around is not None, "one of both was given"
            at = _time(around, zone)
            start, end = at - AROUND_MS, at + AROUND_MS
        _check_held(reader, chosen, start, end, case)
        night = reader.stretch(chosen.id, start, end)
        return sealed(reader, chosen, night, case=case, identified=identified)


def _check_held(reader: "Reader", module: "Module", start: int, end: int, case: "Case | None") -> None:
    """Refuse a stretch of which nothing was recorded."""
    if reader.monitored(module.id, start, end):
        return
    what = "around that time" if case is None else f"of case {case.number}"
    span = reader.span(module.id)
    if span is None:
        raise UserError(f"The store holds nothing {what}.")
    first, last = (f"{datetime.fromtimestamp(at / 1000, UTC):%Y-%m-%dT%H:%M}" for at in span)
    raise UserError(f"The store holds nothing {what}; its record runs from {first} to {last} UTC.")


def _time(text: str, zone: str) -> int:
    where = _zone(zone)
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise UserError(f"--around {text}: write the time as YYYY-MM-DDTHH:MM.") from None
    return round((found if found.tzinfo else found.replace(tzinfo=where)).timestamp() * 1000)


def _zone(name: str) -> "ZoneInfo":
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise UserError(f"There is no time zone {name!r}; name one like Africa/Nairobi or UTC.") from None
