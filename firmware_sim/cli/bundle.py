"""The command `nightkeel bundle`: the files that a MicroPython board needs."""

from pathlib import Path

import click

from firmware_sim.contract.errors import UserError


@click.command(epilog="\b\nExamples:\n  nightkeel bundle board-files\n"
               "  nightkeel bundle update-files --update b")  # fmt: skip
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--update", type=click.Choice(("a", "b")), help="Only a program for this slot, on trial.")
def bundle(folder: Path, update: str | None) -> None:
    """Write into FOLDER the files to copy onto a board: `plain` as text, `mpy` compiled by mpy-cross.

    Copy the content of one of the two to the board's root. The digest printed is what its hello will say.
    With --update the board keeps what it has: the new program starts once, confirms itself after a minute
    and a good self-test, and is else rolled back at the next start. Copy `slots/trial` last.
    """
    from firmware_sim.bundle import write
    from firmware_sim.contract import digest

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UserError(f"{folder} is there already and not empty; name a new folder.")
    rows = write(folder, update)
    for name, plain, compiled in rows:
        click.echo(f"{plain:>8} {compiled:>8}  {name}")
    low, high = digest.digest()
    click.echo(f"{sum(row[1] for row in rows):>8} {sum(row[2] for row in rows):>8}  bytes, {len(rows)} files")
    click.echo(f"contract digest {high:08x}{low:08x}")
