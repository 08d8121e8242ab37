"""`nightkeel reserve`: how long battery, cylinder and agent last if the mains fails now."""

import json
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ingest.errors import UserError

if TYPE_CHECKING:
    from ingest.analysis.reserves.standing import Standing

EPILOG = """\b
Examples:
  nightkeel reserve --store night.db
  nightkeel reserve --size "UK D" --gauge 137 --unit bar --flow 2 --minute-volume 5 --bleed 1
  nightkeel reserve --size "US E" --gauge 1800 --unit psi --flow 2 --gauge-before 2000 --minutes-before 15
  nightkeel reserve --draw-over --agent isoflurane --level 1.5 --filling 100 --minute-volume 6"""

LIVE_MS = 60_000
# Option, its help; all are texts, so that every refusal is the same one sentence as on the page.
TEXTS = (
    ("battery-minutes", "Minutes that the last discharge test carried."),
    ("battery-tested", "Day of that test, YYYY-MM-DD."),
    ("load-then", "Load in that test, W."),
    ("load", "Load now, W."),
    ("hours-on-mains", "Hours of good mains since the battery was empty; left out: full."),
    ("battery-ah", "Without a test: capacity in Ah."),
    ("battery-hours", "The hours of that capacity, such as 20."),
    ("battery-type", "agm, gel or flooded."),
    ("battery-current", "Current drawn from the battery, A."),
    ("size", "Cylinder size, such as 'UK D' or 'US E'."),
    ("water-capacity", "Or its water capacity in L, as stamped on the neck."),
    ("gauge", "Gauge reading now."),
    ("unit", "Unit of the gauge: bar, psi or kPa."),
    ("temperature", "Temperature of the gas, °C (15)."),
    ("left", "Pressure left behind, in the gauge's unit (200 psi)."),
    ("flow", "Oxygen flow, L/min."),
    ("minute-volume", "Minute volume, L/min; a gas-driven bellows takes it from the cylinder."),
    ("bleed", "Bleed of the ventilator, L/min."),
    ("gauge-before", "An earlier reading of the same gauge."),
    ("minutes-before", "How many minutes earlier that was."),
    ("purity", "Oxygen at the source, %: gives the mixture."),
    ("reservoir", "Volume of the reservoir tube, L; 0: none."),
    ("rate", "Breaths a minute."),
    ("inspired-share", "Inspired share of the cycle, % (33)."),
    ("agent", "halothane, isoflurane or sevoflurane."),
    ("level", "Agent level, vol %."),
    ("filling", "Agent in the vaporizer, mL."),
    ("fresh-gas", "Fresh gas flow, L/min (draw-over: the minute volume counts instead)."),
)


def _texts(command: Any) -> Any:
    for name, said in reversed(TEXTS):
        command = click.option(f"--{name}", help=said)(command)
    return command


@click.command(epilog=EPILOG)
@click.option("--store", type=click.Path(path_type=Path), help="Store with a module's record and entries.")
@click.option("--module", help="Number of the module, in hexadecimal digits.")
@_texts
@click.option("--draw-over", is_flag=True, help="Draw-over: no gas drives a bellows, air carries the agent.")
@click.option("--bag", is_flag=True, help="A self-inflating bag is at the bed, seen now.")
@click.option("--zone", default="UTC", show_default=True, help="Time zone of clock times.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def reserve(
    store: Path | None,
    module: str | None,
    draw_over: bool,
    bag: bool,
    zone: str,
    as_json: bool,
    **given: str | None,
) -> None:
    """Say how long things last if the mains fails now: minutes as lower bounds, then the clock.

    From a store, by hand, or both; what is typed wins. A finished store is reckoned at its newest record.
    Calculated, not measured; a research and prototyping tool, never a promise.
    """
    from ingest.reserve_report import as_object, lines, reckon

    where = _zone(zone)
    if store is None and not any(given.values()):
        raise UserError("Nothing to reckon from; name a store with --store, or give a battery or a cylinder.")
    standing, simulated = None, False
    if store is not None:
        standing, simulated = _standing(store, module)
    now = standing.at_ms if standing is not None else time.time_ns() // 1_000_000
    found = reckon(
        {**given, "bag": "seen" if bag else None}, standing, now, simulated=simulated, draw_over=draw_over
    )
    if as_json:
        click.echo(json.dumps(as_object(found), allow_nan=False))
        return
    for line in lines(found, where):
        click.echo(line)


def _zone(name: str) -> Any:
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise UserError(f"There is no time zone {name!r}; name one like Africa/Nairobi or UTC.") from None


def _standing(store: Path, text: str | None) -> "tuple[Standing, bool]":
    """Return how reserves stand in a store: now while it is recorded into, else at its newest record."""
    from ingest.analysis.reserves.standing import standing
    from ingest.store.reader import open_reader

    with open_reader(store) as reader:
        modules = {one.id: one for one in reader.modules()}
        if not modules:
            raise UserError(f"{store} holds no module yet; record into it with `nightkeel ingest`.")
        try:
            wanted = max(modules, key=lambda key: modules[key].last_utc) if text is None else int(text, 16)
            module = modules[wanted]
        except (ValueError, KeyError):
            known = ", ".join(f"{one:08x}" for one in modules)
            raise UserError(f"--module {text}: this store holds {known}.") from None
        latest, now = reader.latest(wanted), time.time_ns() // 1_000_000
        live = latest is None or abs(now - latest.t) < LIVE_MS
        return standing(reader, wanted, now if live or latest is None else latest.t), module.emulated
