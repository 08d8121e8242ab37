"""`nightkeel clock`: how the module's clock stands, and setting it where no network tells the time."""

import time
from pathlib import Path
from typing import Any

import click


@click.command(epilog="\b\nExamples:\n  nightkeel clock --store night.db\n"
               "  nightkeel clock --store night.db --set '2026-02-28 21:05' --zone Africa/Nairobi "
               "--operator AB")  # fmt: skip
@click.option("--store", required=True, type=click.Path(path_type=Path), help="Store of the module.")
@click.option("--module", help="Number of the module, in hexadecimal digits.")
@click.option("--set", "wanted", help="'YYYY-MM-DD HH:MM[:SS]' in the zone, or 'here' for this computer's.")
@click.option("--operator", default="", help="Name or initials; needed to set, stays in the store.")
@click.option("--zone", default="UTC", show_default=True, help="Zone of times shown and given.")
@click.option("--lang", default="en", show_default=True, type=click.Choice(("en", "fr")), help="Language.")
def clock(wanted: str | None, operator: str, **asked: Any) -> None:
    """Show the module's clock, or set it over the daemon; the module logs the old and the new date."""
    from dashboard.checking import tell_module
    from dashboard.cli.upkeep import opened
    from dashboard.setup_doing import clock_lines, time_of
    from ingest.errors import UserError

    reader, module, view = opened(asked)
    with reader:
        if wanted is not None:
            if not operator.strip():
                raise UserError("Setting the clock needs who: --operator must not be empty.")
            utc = time.time_ns() // 1_000_000 if wanted == "here" else time_of(wanted, view)
            if utc is None:
                raise UserError(view.words("clock.bad"))
            answer = tell_module(
                asked["store"], module.id, "clock", (utc // 1000, utc % 1000), operator=operator,
                from_page=False, reason="clock set",
            )  # fmt: skip
            said = view.words("clock.set"), view.words(f"result.{answer}")
            click.echo(view.words("control.answer", what=said[0], result=said[1]))
            return
        for line in clock_lines(reader, module.id, view):
            click.echo(line)
