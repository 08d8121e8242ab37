"""`nightkeel prune`: remove old samples."""

import re
import time
from pathlib import Path

import click

from ingest.errors import UserError

_UNITS_MS = {"d": 86_400_000, "w": 604_800_000, "y": 31_536_000_000}


@click.command(epilog="\b\nExample:\n  nightkeel prune --store night.db --keep 90d")
@click.option("--store", required=True, type=click.Path(path_type=Path), help="Store to make smaller.")
@click.option("--keep", required=True, help="How much to keep: 90d, 12w, 2y.")
@click.option(
    "--even-unsent",
    count=True,
    help="Also what was never forwarded; it must be given twice, since that may be the last copy.",
)
def prune(store: Path, keep: str, even_unsent: int) -> None:
    """Remove samples older than --keep; events, roll-ups and marks stay.

    What was not yet forwarded is spared. No recording may run into the store meanwhile.
    """
    from ingest.store.retention import prune as remove

    found = re.fullmatch(r"([1-9][0-9]{0,5})([dwy])", keep)
    if found is None:
        raise UserError(f"--keep {keep}: write a number and d, w or y, such as 90d.")
    if even_unsent == 1:
        raise UserError("--even-unsent removes what may be the last copy; give it twice if that is meant.")
    if not store.exists():
        raise UserError(f"{store} doesn't exist; name a store with --store.")
    now = int(time.time() * 1000)
    done = remove(store, now - int(found[1]) * _UNITS_MS[found[2]], now, even_unsent >= 2)
    click.echo(f"{done.removed} records removed.")
    if done.spared:
        click.echo(f"{done.spared} old records were spared: no sink has taken them yet. Forward them first.")
