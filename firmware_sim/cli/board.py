"""`nightkeel board`: the emulated module behind a pseudo-terminal or a TCP port."""

import contextlib
import signal
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from firmware_sim.contract.errors import UserError

if TYPE_CHECKING:
    from firmware_sim.rig.rig import Rig

SPEED_MAX = 10_000.0


def parse_speed(text: str) -> float | None:
    """Return the speed of a text like '20'; None for 'max'."""
    if text == "max":
        return None
    try:
        speed = float(text)
    except ValueError:
        speed = 0.0
    if not 0.01 <= speed <= SPEED_MAX:
        raise UserError(f"--speed {text}: write a number from 0.01 to {SPEED_MAX:g}, or max.")
    return speed


def read_key(path: str | None) -> bytes:
    """Return the link's shared key from a file, empty for none."""
    if path is None:
        return b""
    with open(path, "rb") as file:
        key = file.read().strip()
    if not 16 <= len(key) <= 255:
        raise UserError(f"{path}: a shared key has 16 to 255 bytes, this one has {len(key)}.")
    return key


@contextlib.contextmanager
def traced(rig: "Rig", path: str) -> Iterator[None]:
    """Write a value change dump while the rig plays."""
    from firmware_sim.rig.vcd_trace import VcdTrace

    with open(path, "w", encoding="ascii") as file:
        trace = VcdTrace(file, rig)
        rig.watch = trace
        try:
            yield
        finally:
            rig.watch = None
            trace.close()


@contextlib.contextmanager
def controlled(rig: "Rig", socket: Path | None, file: Path | None) -> Iterator["Callable[[], None]"]:
    """Listen for faults to play while the rig runs; yield what must be called between steps."""
    if socket is None:
        if file is not None:
            raise UserError("--played goes with --control only.")
        yield lambda: None
        return
    from firmware_sim.rig.control import Control
    from firmware_sim.rig.fault_desk import FaultDesk

    desk = FaultDesk(rig, file or socket.with_name(socket.name + ".json"))
    control = Control(socket, desk.answer)
    try:
        yield control.poll
    finally:
        control.close()


EPILOG = """\b
Examples:
  nightkeel board --scenario quiet-night --pty-link /tmp/bed1
  nightkeel board --scenario monsoon-night --link tcp://127.0.0.1:7000 --speed 20
  nightkeel board --scenario circuit-apart --trace night.vcd --speed max --hours 0.2
  nightkeel board --pty-link bed1 --control bed1.rig --played bed1.json"""


@click.command(epilog=EPILOG)
@click.option("--scenario", "name", default="quiet-night", show_default=True, help="An invented night.")
@click.option("--seed", type=int, help="Chance of the scenario; the same seed, the same night.")
@click.option("--link", default="pty", show_default=True, help="pty, or tcp://127.0.0.1:PORT.")
@click.option("--pty-link", help="A symbolic link to make to the pseudo-terminal.")
@click.option("--speed", default="1", show_default=True, help="Times real time, or max.")
@click.option("--runtime", default="cpython", show_default=True, help="cpython or micropython.")
@click.option("--profile", default="large", show_default=True, help="small (264 kB) or large (8 MB) board.")
@click.option("--key-file", help="Shared key of the link.")
@click.option("--from", "start_s", type=float, default=0.0, help="Begin so many seconds into the scenario.")
@click.option("--now", is_flag=True, help="Let the scenario begin now instead of at its own date.")
@click.option("--hours", type=float, help="End after so many hours; without it the night goes on.")
@click.option("--trace", type=click.Path(dir_okay=False), help="Write pins, codes, frames: VCD, IEEE 1364.")
@click.option("--control", type=click.Path(dir_okay=False, path_type=Path),
              help="Unix socket by which its owner plays faults: `nightkeel dashboard --rig`.")
@click.option("--played", type=click.Path(dir_okay=False, path_type=Path),
              help="Scenario file that repeats the faults played; CONTROL.json when left out.")
def board(  # one argument an option
    name: str,
    seed: int | None,
    link: str,
    pty_link: str | None,
    speed: str,
    runtime: str,
    profile: str,
    key_file: str | None,
    start_s: float,
    now: bool,
    hours: float | None,
    trace: str | None,
    control: Path | None,
    played: Path | None,
) -> None:
    """Run an emulated module (SIMULATED data) behind a pseudo-terminal or a TCP port.

    A host connects with `nightkeel ingest --link ADDRESS`, the address being the first line printed.
    """
    pace = parse_speed(speed)
    if hours is not None and not 0 < hours <= 24 * 366:
        raise UserError(f"--hours {hours:g}: write a number above 0, at most {24 * 366}.")
    if start_s < 0:
        raise UserError(f"--from {start_s:g}: write seconds from the start, 0 or more.")
    import time

    from firmware_sim import scenarios
    from firmware_sim.rig.ends import open_end
    from firmware_sim.rig.paced import Paced
    from firmware_sim.rig.rig import Rig

    start = round(time.time() * 1000) - round(start_s * 1000) if now else None
    rig = Rig(
        scenarios.load(name), seed, profile=profile, runtime=runtime, key=read_key(key_file),
        start_utc_ms=start,
        ahead_steps=10 if pace is not None and pace <= 100 else 300,
    )  # fmt: skip
    end = open_end(link, pty_link)
    stopping = []
    signal.signal(signal.SIGTERM, lambda *_: stopping.append(True))
    try:
        click.echo(end.address)
        click.echo(f"SIMULATED: scenario {name}, {profile} board, {runtime}, speed {speed}", err=True)
        rig.skip(round(start_s * 10))
        with (
            traced(rig, trace) if trace else contextlib.nullcontext(),
            controlled(rig, control, played) as between,
        ):
            steps = None if hours is None else round(hours * 36_000)
            Paced(rig, end, pace).run(steps, lambda: bool(stopping), between)
    finally:
        rig.stop()
        end.close()
