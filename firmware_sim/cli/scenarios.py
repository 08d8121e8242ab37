"""`nightkeel scenarios`: the invented nights, and what happens in one of them."""

import json
from typing import TYPE_CHECKING

import click

from firmware_sim.contract.errors import UserError

if TYPE_CHECKING:
    from firmware_sim.world.scenario import Event, Scenario

EPILOG = """\b
Examples:
  nightkeel scenarios
  nightkeel scenarios circuit-apart
  nightkeel scenarios circuit-apart --truth > truth.json"""


@click.command(epilog=EPILOG)
@click.argument("name", required=False)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
@click.option("--truth", is_flag=True, help="What truly happened, as `nightkeel rehearse --truth` reads it.")
@click.option("--start", "start_ms", type=int, help="UTC ms of its beginning, if not the scenario's own.")
def scenarios(name: str | None, as_json: bool, truth: bool, start_ms: int | None) -> None:
    """List the invented nights, or tell what happens in the one called NAME.

    NAME may also be a scenario file that ends in .json.
    """
    from firmware_sim import scenarios as nights
    from firmware_sim.world.scenario import to_json

    if truth and name is None:
        raise UserError("--truth is of one night: name it, as `nightkeel scenarios small-child --truth`.")
    if name is not None:
        scenario = nights.load(name)
        if truth:
            begun = round(nights.start_utc(scenario).timestamp() * 1000) if start_ms is None else start_ms
            click.echo(json.dumps(true_events(scenario, begun), indent=1))
            return
        click.echo(to_json(scenario) if as_json else "\n".join(tell(scenario)))
        return
    rows = [nights.load(one) for one in nights.names()]
    if as_json:
        click.echo(
            json.dumps({row.name: {"title": row.title, "hours": row.duration_s / 3600} for row in rows})
        )
        return
    width = max(len(row.name) for row in rows)
    for row in rows:
        click.echo(f"{row.name:{width}}  {row.duration_s / 3600:5.1f} h  {row.title}")


def true_events(scenario: "Scenario", start_ms: int) -> list[dict[str, int | str]]:
    """Return what truly happened and must alarm, in UTC ms, with the row that must say it."""
    return [
        {
            "start_ms": start_ms + round(found.from_s * 1000),
            "end_ms": start_ms + round(found.to_s * 1000),
            "condition": str(found.values["condition"]),
        }
        for found in scenario.must_find
        if found.kind == "alarm" and not found.never
    ]


def tell(scenario: "Scenario") -> list[str]:
    """Return the lines that describe a scenario."""
    hours = scenario.duration_s / 3600
    when = f"{hours:g} h from {scenario.start}, {scenario.zone}, seed {scenario.seed}"
    head = f"{scenario.name} (SIMULATED, {when})"
    lines = [head, scenario.description, "", "What happens:"]
    if scenario.statistics:
        lines.append(f"  events drawn from the '{scenario.statistics}' statistics")
    events = sorted(scenario.events, key=lambda event: event.t_s)
    lines += [f"  {clock(event.t_s)}  {say(event)}" for event in events]
    lines += ["", "What must be found:"]
    for found in scenario.must_find:
        values = ", ".join(f"{key} {value}" for key, value in found.values.items())
        never = "never " if found.never else ""
        lines.append(f"  {clock(found.from_s)}-{clock(found.to_s)}  {never}{found.kind}: {values}")
    return lines


def say(event: "Event") -> str:
    """Return one event in words."""
    values = ", ".join(f"{key} {value}" for key, value in event.params.items())
    return f"{event.actor}: {event.action.replace('_', ' ')}{f' ({values})' if values else ''}"


def clock(seconds: float) -> str:
    """Return seconds from the start as H:MM:SS."""
    whole = int(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02}:{whole % 60:02}"
