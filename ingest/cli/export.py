"""`nightkeel export`: write a store in other formats."""

import sys
from pathlib import Path

import click

from ingest.errors import UserError

EPILOG = """\b
Examples:
  nightkeel export --store night.db --parquet study/
  nightkeel export --store night.db --comtrade captures/ --cff"""


@click.command(epilog=EPILOG)
@click.option("--store", required=True, type=click.Path(path_type=Path), help="Store to read.")
@click.option(
    "--parquet",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Folder for Parquet files, parted by site and day.",
)
@click.option(
    "--comtrade",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Folder for captured waveforms as COMTRADE (IEC 60255-24:2013).",
)
@click.option("--cff", is_flag=True, help="COMTRADE: one .cff file a capture instead of .cfg, .dat, .hdr.")
@click.option("--ascii", "in_ascii", is_flag=True, help="COMTRADE: data as text instead of binary.")
def export(store: Path, parquet: Path | None, comtrade: Path | None, cff: bool, in_ascii: bool) -> None:
    """Write what a store holds for other programs. Emulated data say SIMULATED in every file."""
    from ingest.exports.comtrade_file import FORMS, count, write_comtrade
    from ingest.sinks.parquet import days, write_parquet
    from ingest.store.reader import open_reader

    if parquet is None and comtrade is None:
        raise UserError("Name what to write, such as --parquet DIR or --comtrade DIR.")
    if comtrade is None and (cff or in_ascii):
        raise UserError("--cff and --ascii belong to --comtrade DIR; name that too.")
    with open_reader(store) as reader:
        modules = reader.modules()
        total = sum(len(days(reader, module.id)) for module in modules) if parquet else 0
        total += count(reader, modules) if comtrade else 0
        simulated = " SIMULATED" if any(module.emulated for module in modules) else ""
        said = []
        with click.progressbar(
            length=max(total, 1),
            label="writing days",
            file=sys.stderr,
            width=30,
            hidden=not sys.stderr.isatty(),
        ) as bar:
            if parquet is not None:
                said.append(f"{write_parquet(reader, parquet, bar.update)} rows below {parquet}")
            if comtrade is not None:
                form = FORMS[not in_ascii]
                written = write_comtrade(reader, comtrade, form, cff, bar.update)
                said.append(f"{written} captures below {comtrade}")
    for line in said:
        click.echo(f"{line}.{simulated}")
