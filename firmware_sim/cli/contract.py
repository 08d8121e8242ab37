"""The command `nightkeel contract`: the tables that board and host share, as text or as C."""

from pathlib import Path

import click

from firmware_sim.contract.errors import UserError


@click.command(epilog="\b\nExamples:\n  nightkeel contract\n  nightkeel contract --c board/contract")
@click.option("--c", "folder", type=click.Path(path_type=Path), help="Write header and codec in C here.")
def contract(folder: Path | None) -> None:
    """Print channels, messages, fields, code lists and the digest; or write them as C99 with a codec."""
    from firmware_sim.contract import REVISION, digest

    low, high = digest.digest()
    if folder is None:
        from firmware_sim import docs

        for name in ("channels", "messages", "message-fields", "code-lists"):
            click.echo(f"## {name}\n\n{docs.BLOCKS[name]()}\n")
    else:
        write(folder)
    click.echo(f"contract revision {REVISION}, digest {high:08x}{low:08x}")


def write(folder: Path) -> None:
    """Write the files; what is there under their names is written anew."""
    from firmware_sim.c_contract import files

    if folder.exists() and not folder.is_dir():
        raise UserError(f"{folder} is a file; name a folder with --c.")
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files().items():
        (folder / name).write_text(text, "utf-8")
        click.echo(f"{folder / name}: {len(text.splitlines())} lines")
