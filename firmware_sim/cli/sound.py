"""The command `nightkeel sound`: hear what a priority sounds like."""

from pathlib import Path

import click

from firmware_sim.contract.alarms import PRIORITIES
from firmware_sim.contract.errors import UserError


@click.command(epilog="\b\nExample:\n  nightkeel sound high --wav high.wav")
@click.argument("priority", type=click.Choice(PRIORITIES[1:]))
@click.option("--wav", "path", required=True, type=click.Path(path_type=Path), help="File to write.")
@click.option("--seconds", type=click.FloatRange(0.5, 600), default=25.0, show_default=True, help="Length.")
def sound(priority: str, path: Path, seconds: float) -> None:
    """Render the alarm sound of a PRIORITY to a file, as the emulated sounder plays it."""
    from firmware_sim.sound import render, schedule, write_wav

    if not path.absolute().parent.is_dir():
        raise UserError(f"{path}: there is no such folder; make it first or choose another.")
    write_wav(path, render(schedule(PRIORITIES.index(priority), seconds), seconds))
    click.echo(f"{path}: {seconds:g} s of a standing {priority}-priority condition (SIMULATED)")
