"""`nightkeel export`: write a store in other formats."""

import sys
from pathlib import Path

import click

from ingest.errors import UserError


@click.command(epilog="\b\nExample:\n  nightkeel export --store night.db --parquet study/")
@click.option("--store", required=True, type=click.Path(path_type=Path), help="Store to read.")
@click.option(
    "--parquet",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Folder for Parquet files, parted by site and day.",
)
def export(store: Path, parquet: Path | None) -> None:
    """Write what a store holds for other programs. Emulated data say SIMULATED in every file."""
    from ingest.sinks.parquet import days, write_parquet
    from ingest.store.reader import open_reader

    if parquet is None:
        raise UserError("Name what to write, such as --parquet DIR.")
    with open_reader(store) as reader:
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
