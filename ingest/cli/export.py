"""`nightkeel export`: write a store in other formats."""

import sys
from datetime import UTC, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ingest.errors import UserError

if TYPE_CHECKING:
    from ingest.store.reader import Module, Night, Reader

EPILOG = """\b
Examples:
  nightkeel export --store night.db --parquet study/
  nightkeel export --store night.db --csv tables/ --edf night.edf --fhir night.ndjson
  nightkeel export --store night.db --csv tables/ --case 3
  nightkeel export --store night.db --csv tables/ --night 2026-02-28 --keep-text"""


@click.command(epilog=EPILOG)
@click.option("--store", required=True, type=click.Path(path_type=Path), help="Store to read.")
@click.option(
    "--parquet",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Folder for Parquet files, parted by site and day: the whole store.",
)
@click.option(
    "--csv", "csv_folder", type=click.Path(path_type=Path), metavar="DIR",
    help="Folder for CSV tables of one night: trends, breaths, alarms, marks.",
)  # fmt: skip
@click.option(
    "--edf", type=click.Path(path_type=Path), metavar="FILE",
    help="EDF+ of one night: waveform, trends; alarms and marks as annotations.",
)  # fmt: skip
@click.option(
    "--fhir", type=click.Path(path_type=Path), metavar="FILE",
    help="FHIR Observations of one night, hourly, one a line (NDJSON).",
)  # fmt: skip
@click.option(
    "--comtrade", type=click.Path(path_type=Path), metavar="DIR",
    help="Folder for the captured waveforms as COMTRADE (IEC 60255-24): the whole store.",
)  # fmt: skip
@click.option("--ascii", is_flag=True, help="COMTRADE data as ASCII instead of BINARY.")
@click.option("--cff", is_flag=True, help="One .cff file a capture instead of .cfg, .dat and .hdr.")
@click.option("--night", metavar="DATE", help="UTC date of its evening, YYYY-MM-DD; default: the last night.")
@click.option("--case", "case_number", type=int, help="One case by its number, in place of a night.")
@click.option("--module", metavar="NUMBER", help="Module by its hexadecimal number; default: the last heard.")
@click.option("--zone", default="UTC", show_default=True, help="Time zone of the times in CSV.")
@click.option(
    "--strip/--keep-text", default=True, show_default=True,
    help="Leave out, or keep, what people typed: it may identify somebody.",
)  # fmt: skip
def export(
    store: Path,
    parquet: Path | None,
    csv_folder: Path | None,
    edf: Path | None,
    fhir: Path | None,
    comtrade: Path | None,
    ascii: bool,
    cff: bool,
    night: str | None,
    case_number: int | None,
    module: str | None,
    zone: str,
    strip: bool,
) -> None:
    """Write what a store holds for other programs. Emulated data say SIMULATED in every file.

    Source oxygen purity is what was measured at the source, never what was inspired.
    """
    from ingest.store.reader import open_reader

    if all(path is None for path in (parquet, csv_folder, edf, fhir, comtrade)):
        raise UserError("Name what to write, such as --parquet DIR, --csv DIR, --edf FILE or --fhir FILE.")
    if comtrade is None and (ascii or cff):
        raise UserError("--ascii and --cff say how --comtrade DIR writes; name the folder too.")
    with open_reader(store) as reader:
        if parquet is not None:
            _whole_store(reader, parquet)
        if comtrade is not None:
            _captures(reader, comtrade, ascii, cff)
        if csv_folder is not None or edf is not None or fhir is not None:
            chosen = _chosen(reader, module, night, case_number)
            for path in _one_night(reader, csv_folder, edf, fhir, chosen, _zone(zone), strip):
                click.echo(str(path))


def _whole_store(reader: "Reader", parquet: Path) -> None:
    from ingest.sinks.parquet import days, write_parquet

    total = sum(len(days(reader, module.id)) for module in reader.modules())
    with click.progressbar(
        length=max(total, 1),
        label="writing days",
        file=sys.stderr,
        width=30,
        hidden=not sys.stderr.isatty(),
    ) as bar:
        rows = write_parquet(reader, parquet, bar.update)
    simulated = " SIMULATED" if any(module.emulated for module in reader.modules()) else ""
    click.echo(f"{rows} rows below {parquet}.{simulated}")


def _captures(reader: "Reader", folder: Path, ascii: bool, cff: bool) -> None:
    from ingest.exports.comtrade_file import count, write_comtrade

    with click.progressbar(
        length=max(count(reader, reader.modules()), 1), label="writing captures", file=sys.stderr, width=30,
        hidden=not sys.stderr.isatty(),
    ) as bar:  # fmt: skip
        written = write_comtrade(reader, folder, "ASCII" if ascii else "BINARY", cff, bar.update)
    simulated = " SIMULATED" if any(module.emulated for module in reader.modules()) else ""
    click.echo(f"{written} captures below {folder}.{simulated}")


def _chosen(
    reader: "Reader", number: str | None, date: str | None, case: int | None
) -> "tuple[Module, Night]":
    import time

    from ingest.exports.recorded import chosen_case, chosen_night

    if case is None:
        return chosen_night(reader, number, date)
    if date is not None:
        raise UserError("Name a night with --night or a case with --case, not both.")
    return chosen_case(reader, number, case, time.time_ns() // 1_000_000)


def _one_night(
    reader: "Reader",
    csv_folder: Path | None,
    edf: Path | None,
    fhir: Path | None,
    chosen: "tuple[Module, Night]",
    zone: tzinfo,
    strip: bool,
) -> list[Path]:
    from ingest.exports.recorded import edf_of, fhir_of, write_csv

    module, night = chosen
    written = []
    if csv_folder is not None:
        if csv_folder.exists() and not csv_folder.is_dir():
            raise UserError(f"{csv_folder} is a file; name a folder for the CSV tables.")
        written += write_csv(reader, module, night, csv_folder, zone=zone, strip=strip)
    for path, make in ((edf, edf_of), (fhir, fhir_of)):
        if path is not None:
            path.write_bytes(make(reader, module, night, strip=strip))
            written.append(path)
    return written


def _zone(name: str) -> tzinfo:
    from zoneinfo import ZoneInfo

    try:
        return UTC if name == "UTC" else ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise UserError(
            f"There is no time zone {name!r}; name one like Africa/Nairobi or UTC with --zone."
        ) from None
