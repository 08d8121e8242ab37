"""The command `nightkeel bundle`: the files that a MicroPython board needs."""

from pathlib import Path

import click

from firmware_sim.contract.errors import UserError


@click.command(epilog="\b\nExample:\n  nightkeel bundle board-files")
@click.argument("folder", type=click.Path(path_type=Path))
def bundle(folder: Path) -> None:
    """Write into FOLDER the files to copy onto a board: `plain` as text, `mpy` compiled by mpy-cross.

    Copy the content of one of the two to the board's root. The digest printed is what its hello will say.
    """
    from firmware_sim.bundle import write
    from firmware_sim.contract import digest

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UserError(f"{folder} is there already and not empty; name a new folder.")
    rows = write(folder)
    for name, plain, compiled in rows:
        click.echo(f"{plain:>8} {compiled:>8}  {name}")
    low, high = digest.digest()
    click.echo(f"{sum(row[1] for row in rows):>8} {sum(row[2] for row in rows):>8}  bytes, {len(rows)} files")
    click.echo(f"contract digest {high:08x}{low:08x}")
