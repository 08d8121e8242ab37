"""`nightkeel site`: check a site's file of first actions, write an empty one."""

from pathlib import Path

import click

from ingest.errors import UserError

EPILOG = """\b
Examples:
  nightkeel site example ward.toml
  nightkeel site check ward.toml"""


@click.group(epilog=EPILOG)
def site() -> None:
    """Check a site's own first actions for alarms, or write an empty file for them.

    Nothing is shipped as advice: the site writes and approves what stands beside its alarms.
    """


@site.command(epilog="\b\nExample:\n  nightkeel site check ward.toml")
@click.argument("file", type=click.Path(path_type=Path))
def check(file: Path) -> None:
    """Say whether a site file can be used, and for which alarms it has first actions."""
    from ingest.analysis.first_actions import first_actions

    try:
        text = file.read_text("utf-8")
    except UnicodeDecodeError:
        raise UserError(f"{file} is not text in UTF-8; save it as such.") from None
    found = first_actions(text, str(file))
    for alarm, row in found.rows.items():
        click.echo(f"{alarm:28}{', '.join(f'{language}: {len(lines)}' for language, lines in row.items())}")
    click.echo(f"{len(found.rows)} alarms; approved by {found.approved_by}, {found.approved_on}.")


@site.command(epilog="\b\nExample:\n  nightkeel site example ward.toml")
@click.argument("file", type=click.Path(path_type=Path))
def example(file: Path) -> None:
    """Write an empty site file with its rules as comments."""
    from ingest.analysis.first_actions import EXAMPLE

    if file.exists():
        raise UserError(f"{file} is there already and stays as it is; name another file.")
    file.write_text(EXAMPLE, encoding="utf-8")
    click.echo(f"{file} is written; it shows nothing until somebody approves it.")
