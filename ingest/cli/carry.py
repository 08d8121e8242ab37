"""`nightkeel carry`: data out by stick or folder, without a network."""

from pathlib import Path

import click

EPILOG = """\b
Examples:
  nightkeel carry out --store night.db /media/stick/bed-3
  nightkeel carry out --store night.db /media/stick/bed-3 handover.pdf case-3.zip
  nightkeel carry check /media/stick/bed-3"""


@click.group(epilog=EPILOG)
def carry() -> None:
    """Carry a store out on a stick and prove the copy; no network is needed."""


@carry.command(epilog="\b\nExample:\n  nightkeel carry out --store night.db /media/stick/bed-3 handover.pdf")
@click.option("--store", required=True, type=click.Path(path_type=Path), help="Store to copy; may be in use.")
@click.argument("folder", type=click.Path(path_type=Path))
@click.argument("others", nargs=-1, type=click.Path(path_type=Path))
def out(store: Path, folder: Path, others: tuple[Path, ...]) -> None:
    """Copy a store, and OTHERS as they are, into the new FOLDER; read back; say when it is safe to pull.

    A store holds what people typed: `nightkeel seal` and `nightkeel export` leave it out.
    """
    from ingest.carry import carry_out

    carried = carry_out(store, folder, others, lambda name: click.echo(f"copying {name}", err=True))
    for name, size, digest in carried.files:
        click.echo(f"{digest}  {size:>12}  {name}")
    click.echo(f"Written, read back and flushed: {folder}. Unmount it, then it may be pulled.")


@carry.command(epilog="\b\nExample:\n  nightkeel carry check /media/stick/bed-3")
@click.argument("folder", type=click.Path(path_type=Path))
def check(folder: Path) -> None:
    """Read a carried folder back against its sums, on this or another machine."""
    from ingest.carry import check as read_back

    found = read_back(folder)
    size = sum(one[1] for one in found.files)
    click.echo(f"{len(found.files)} files, {size} bytes, each as it was written.")
