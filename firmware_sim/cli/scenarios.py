"""`nightkeel scenarios`: the invented nights, and what happens in one of them."""

import json
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from firmware_sim.world.scenario import Event, Scenario

EPILOG = """\b
Examples:
  nightkeel scenarios
  nightkeel scenarios circuit-apart"""


@click.command(epilog=EPILOG)
@click.argument("name", required=False)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
def scenarios(name: str | None, as_json: bool) -> None:
    """List the invented nights, or tell what happens in the one called NAME.

    NAME may also be a scenario file that ends in .json.
    """
    from firmware_sim import scenarios as nights
    from firmware_sim.world.scenario import to_json

    if name is not None:
        scenario = nights.load(name)
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
