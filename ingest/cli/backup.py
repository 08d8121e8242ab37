"""`nightkeel backup`: copy a store while it is in use."""

import sys
from pathlib import Path

import click


@click.command(epilog="\b\nExample:\n  nightkeel backup --store night.db /media/stick/night-copy.db")
@click.option("--store", required=True, type=click.Path(path_type=Path), help="Store to copy.")
@click.argument("target", type=click.Path(path_type=Path))
def backup(store: Path, target: Path) -> None:
    """Copy a store to TARGET while it is recorded into, and verify the copy before it gets its name."""
    from ingest.store.backup import backup as copy

    with click.progressbar(
        length=100, label="copying", file=sys.stderr, width=30, hidden=not sys.stderr.isatty()
    ) as bar:
        report = copy(store, target, lambda done, total: bar.update(done * 100 // max(total, 1) - bar.pos))
    click.echo(f"{target}: {report.records} records of {report.modules} modules, verified.")
