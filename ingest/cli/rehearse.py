"""`nightkeel rehearse`: run recorded nights again with other settings."""

import json
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ingest.errors import UserError

if TYPE_CHECKING:
    from ingest.analysis.rehearsal.judge import Judged, TrueEvent
    from ingest.analysis.rehearsal.outcome import Outcome
    from ingest.analysis.rehearsal.stage import Material, Rehearsed, Stage

EPILOG = """\b
Examples:
  nightkeel rehearse night.db --set oxygen.delay=20 --set oxygen.low=80
  nightkeel rehearse night.db --sweep oxygen.delay=0:60:31 --json"""
TRUTH_BYTES_MAX = 5_000_000


@click.command(epilog=EPILOG)
@click.argument("store", type=click.Path(path_type=Path))
@click.option("--set", "texts", multiple=True, metavar="NAME=VALUE", help="A setting to try; repeatable.")
@click.option("--sweep", "sweep_text", metavar="NAME=FROM:TO:STEPS", help="Try a setting at many values.")
@click.option("--module", help="Number of the module, as `nightkeel doctor` shows it.")
@click.option(
    "--truth",
    type=click.Path(path_type=Path),
    help="JSON list of {start_ms, end_ms, condition}: what truly happened; marks count too.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def rehearse(
    store: Path,
    texts: tuple[str, ...],
    sweep_text: str | None,
    module: str | None,
    truth: Path | None,
    as_json: bool,
) -> None:
    """Show what other limits, deadbands and delays would have done to recorded nights.

    The module's own alarm engine runs over the recorded inputs. Nothing is sent to any module, and circuit
    rows keep their hard maximum delays. True events are a person's marks of kind 'event', or --truth.
    """
    from ingest.analysis.rehearsal.overlay import overlay_of, sweep_of
    from ingest.analysis.rehearsal.stage import Stage
    from ingest.rehearse import gather, sweep

    overlay = overlay_of(texts)
    overlays = sweep_of(sweep_text, overlay) if sweep_text else []
    events = read_truth(truth) if truth else []
    material = gather(store, _module(module), truth=events)
    stage = Stage(material)
    tried = stage.rehearse(overlay)
    swept: list[Rehearsed] = []
    if overlays:
        workers = min(os.cpu_count() or 1, len(overlays))
        with click.progressbar(
            length=len(overlays), label=f"{len(overlays)} settings", file=sys.stderr, width=30,
            hidden=as_json or not sys.stderr.isatty(),
        ) as bar:  # fmt: skip
            swept = sweep(material, overlays, workers, lambda: bar.update(1))
    if as_json:
        click.echo(json.dumps(_report(material, stage, tried, swept)))
    else:
        _say(material, stage, tried, swept)


def _module(text: str | None) -> int | None:
    try:
        return None if text is None else int(text, 16)
    except ValueError:
        raise UserError(f"--module {text}: write the module's number in hexadecimal digits.") from None


def read_truth(path: Path) -> "list[TrueEvent]":
    """Return the true events of a JSON file; raise UserError in one sentence for anything else."""
    try:
        if path.stat().st_size > TRUTH_BYTES_MAX:
            raise UserError(f"{path} is larger than {TRUTH_BYTES_MAX} bytes; split it.")
        found = json.loads(path.read_text("utf-8"))
    except (UnicodeDecodeError, ValueError, RecursionError):
        raise UserError(f"{path} is not JSON; write a list of objects with start_ms and end_ms.") from None
    if not isinstance(found, list):
        raise UserError(f"{path} is no list; write a list of objects with start_ms and end_ms.")
    return [_event(path, place, one) for place, one in enumerate(found, 1)]


def _event(path: Path, place: int, one: Any) -> "TrueEvent":
    from ingest.analysis.rehearsal.judge import TrueEvent

    where = f"{path}, event {place}"
    if not isinstance(one, dict) or not set(one) <= {"start_ms", "end_ms", "condition", "text"}:
        raise UserError(f"{where}: write an object with start_ms, end_ms, condition and text only.")
    start, end = one.get("start_ms"), one.get("end_ms")
    for value in (start, end):
        if not isinstance(value, int) or isinstance(value, bool):
            raise UserError(f"{where}: start_ms and end_ms are whole numbers of UTC milliseconds.")
    assert isinstance(start, int) and isinstance(end, int)
    if end < start:
        raise UserError(f"{where}: end_ms lies before start_ms.")
    condition, text = one.get("condition"), one.get("text", "")
    if not isinstance(condition, str | None) or not isinstance(text, str):
        raise UserError(f"{where}: condition and text are texts.")
    return TrueEvent(start_ms=start, end_ms=end, condition=condition, text=text)


def _figures(outcome: "Outcome") -> dict[str, Any]:
    burden = outcome.burden
    muted, quiet = burden.longest_muted, burden.longest_quiet
    return {
        "activations": burden.activations,
        "standing_s": round(outcome.standing_s, 1),
        "alarms_per_hour": None if burden.per_hour is None else round(burden.per_hour, 3),
        "monitored_h": round(burden.watched_h, 4),
        "longest_silence_s": 0.0 if muted is None else (muted[1] - muted[0]) / 1000,
        "longest_quiet_s": 0.0 if quiet is None else (quiet[1] - quiet[0]) / 1000,
        "chatter": len(burden.chatter),
        "floods": len(burden.floods),
        "by_condition": {
            row.condition: {"activations": row.activations, "standing_s": round(row.standing_s, 1)}
            for row in burden.by_condition
        },
    }


def _judgement(judged: "Judged") -> dict[str, Any]:
    def event(one: Any) -> dict[str, Any]:
        return {
            "condition": one.event.condition, "text": one.event.text, "start_ms": one.event.start_ms,
            "in_force_s": one.in_force_s, "rehearsed_s": one.rehearsed_s,
        }  # fmt: skip

    added = judged.added_s
    return {
        "missed": [event(one) for one in judged.verdicts if one.missed],
        "late": [event(one) for one in judged.verdicts if one.late],
        "true_events": len(judged.verdicts),
        "nuisance_in_force": judged.nuisance_in_force,
        "nuisance": judged.nuisance,
        "added_delay_s": None if added is None else {"median": added[0], "greatest": added[1]},
    }


def _report(
    material: "Material", stage: "Stage", tried: "Rehearsed", swept: "list[Rehearsed]"
) -> dict[str, Any]:
    found = stage.comparison
    report: dict[str, Any] = {
        **_judgement(tried.judged),
        "module": f"{material.module:08x}",
        "simulated": material.emulated,
        "tried": tried.overlay.text(),
        "reproduced_exactly": found.exact,
        "transitions_same": found.same,
        "transitions_differ": len(found.only_recorded) + len(found.only_replayed),
        "in_force": _figures(stage.in_force),
        "rehearsed": _figures(tried.outcome),
    }
    if swept:
        report["sweep"] = [
            {"tried": one.overlay.text(), **_judgement(one.judged), **_figures(one.outcome)} for one in swept
        ]
    return report


def _say(material: "Material", stage: "Stage", tried: "Rehearsed", swept: "list[Rehearsed]") -> None:
    """Write for a person: what would have been missed or late stands first."""
    if material.emulated:
        click.echo("SIMULATED data of an emulated module.")
    judged = tried.judged
    for one in judged.verdicts:
        if one.missed or one.late:
            what = one.event.condition or one.event.text or "event"
            before = "no alarm" if one.in_force_s is None else f"{one.in_force_s:g} s"
            after = "MISSED" if one.rehearsed_s is None else f"LATE, {one.rehearsed_s:g} s"
            click.echo(f"{after}: {what} at {one.event.start_ms} ms UTC (in force: {before})")
    if judged.verdicts:
        click.echo(f"{len(judged.verdicts)} true events; alarms that belong to none: "
                   f"{judged.nuisance_in_force} in force, {judged.nuisance} rehearsed.")  # fmt: skip
    else:
        click.echo("No true events are marked, so missed ones can't be told; mark them (kind 'event') first.")
    found = stage.comparison
    if found.exact:
        click.echo(
            f"With the settings in force all {found.same} recorded transitions come out again exactly."
        )
    else:
        click.echo(
            f"CAUTION: with the settings in force {len(found.only_recorded)} recorded transitions are not "
            f"repeated and {len(found.only_replayed)} are new; {found.same} are the same."
        )
    click.echo(f"\n{'':24}{'in force':>12}{'rehearsed':>12}   {tried.overlay.text()}")
    in_force, rehearsed = _figures(stage.in_force), _figures(tried.outcome)
    for name in in_force:
        if name != "by_condition":
            click.echo(f"{name:24}{_cell(in_force[name]):>12}{_cell(rehearsed[name]):>12}")
    for one_swept in swept:
        figures, judgement = _figures(one_swept.outcome), _judgement(one_swept.judged)
        click.echo(
            f"{one_swept.overlay.text()}: {figures['activations']} activations, "
            f"{judgement['nuisance']} nuisance, {len(judgement['missed'])} missed, "
            f"{len(judgement['late'])} late"
        )


def _cell(value: Any) -> str:
    return "-" if value is None else f"{value:g}"
