"""`nightkeel import`: merge stores."""

import sys
import time
from pathlib import Path

import click

from ingest.errors import UserError


@click.command("import", epilog="\b\nExample:\n  nightkeel import --store all.db bed-1.db bed-2.db")
@click.option(
    "--store", required=True, type=click.Path(path_type=Path), help="Store to merge into; made if new."
)
@click.argument("sources", nargs=-1, required=True, type=click.Path(path_type=Path))
def import_(store: Path, sources: tuple[Path, ...]) -> None:
    """Merge SOURCES into one store without doubles; run again, it adds nothing."""
    from ingest.store.merge import merge
    from ingest.store.verify import verify

    for source in sources:
        if source.exists() and store.exists() and source.samefile(store):
            raise UserError(f"{source} is the store that is merged into; name others.")
    now = int(time.time() * 1000)
    for source in sources:
        with click.progressbar(
            length=max(verify(source).records, 1),
            label=str(source),
            file=sys.stderr,
            width=30,
            hidden=not sys.stderr.isatty(),
        ) as bar:
            done = merge(store, source, now, bar.update)
        click.echo(f"{source}: {done.records} records new, {done.already} already there, {done.marks} marks.")
