"""`nightkeel fleet`: many seeds of a scenario side by side."""

import math
import sys
from pathlib import Path

import click

from ingest.errors import UserError

NIGHTS_MAX = 1_000_000
JOBS_MAX = 256
EPILOG = """\b
Examples:
  nightkeel fleet --scenario hospital-day --nights 1000 --jobs 2 --out fleet
  nightkeel fleet --scenario monsoon-night --hours 2 --nights 20 --out short --json"""


@click.command(epilog=EPILOG)
@click.option("--scenario", default="hospital-day", show_default=True, help="An invented night, or a file.")
@click.option("--nights", default=100, show_default=True, type=click.IntRange(1, NIGHTS_MAX),
              help="How many, each with a seed of its own.")  # fmt: skip
@click.option("--hours", type=float, help="Length of each; the scenario's own when left out.")
@click.option("--jobs", default=2, show_default=True, type=click.IntRange(1, JOBS_MAX), help="Processes.")
@click.option("--first-seed", default=1, show_default=True, type=click.IntRange(0, 1 << 40),
              help="Seed of the first night; the others follow.")  # fmt: skip
@click.option("--profile", default="large", show_default=True, help="small (264 kB) or large (8 MB) board.")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), default="fleet", show_default=True,
              help="Folder for the nights and the Parquet files.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print the rates as one JSON object.")
@click.pass_obj
def fleet(
    play: object, scenario: str, nights: int, hours: float | None, jobs: int, first_seed: int, profile: str,
    out: Path, as_json: bool,
) -> None:  # fmt: skip
    """Play many nights in parallel and say how often things happen, with intervals (SIMULATED data).

    Each finished night is kept: after a Ctrl-C or a kill the same command goes on, and with more --nights it
    adds to what is there. The figures don't depend on --jobs.
    """
    import json

    from ingest.fleet import Plan, night_file, run
    from ingest.fleet_tables import flat, gather

    if not callable(play):
        raise UserError("A fleet is played by the command nightkeel only.")
    plan = Plan(scenario=scenario, hours=hours, profile=profile, first_seed=first_seed, nights=nights)
    done = sum(night_file(out, seed).exists() for seed in plan.seeds())
    quiet = not sys.stderr.isatty()
    with click.progressbar(length=nights, label=f"{nights} nights of {scenario}", file=sys.stderr,
                           hidden=quiet, width=30) as bar:  # fmt: skip
        bar.update(done)
        for _ in run(play, plan, out, jobs):
            bar.update(1)
    found = gather(plan, out)
    if as_json:
        told = {"origin": "SIMULATED", "nights": nights, "rates": [flat(one) for one in found]}
        click.echo(json.dumps(told))
        return
    click.echo(f"SIMULATED: {nights} nights of {scenario}; shares and means with 95 % intervals.")
    click.echo(f"{'':40}{'nights':>20}   {'a night':>24}   method")
    for one in found:
        share = f"{100 * one.share.value:.0f} % ({100 * one.share.low:.0f}-{100 * one.share.high:.0f})"
        click.echo(f"{one.name:40}{share:>20}   {_mean(one.per_night):>24}   {one.method}")


def _mean(found: "object") -> str:
    value, low, high = (getattr(found, name) for name in ("value", "low", "high"))
    return f"{value:.3g}" if math.isnan(low) else f"{value:.3g} ({low:.3g}-{high:.3g})"
