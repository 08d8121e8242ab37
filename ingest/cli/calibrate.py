"""`nightkeel calibrate`: two or more points against a reference, a zero check, or what is in force."""

import json
import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ingest.errors import UserError

if TYPE_CHECKING:
    from ingest.analysis.calibration import Drift, Point, Reference, Result
    from ingest.calibrate import Guide

DAY_MS = 86_400_000
EPILOG = """\b
Examples:
  nightkeel calibrate --store ward.db
  nightkeel calibrate pressure --store ward.db --reference "gauge 7" --limits 0.5%+0.1 --operator AB
  nightkeel calibrate pressure --zero --store ward.db --operator AB
  nightkeel calibrate supply_in --store ward.db --reference "meter 12" --limits 0.3%+0.2 --operator AB"""


@click.command(epilog=EPILOG)
@click.argument("channel", required=False)
@click.option("--store", required=True, type=click.Path(path_type=Path), help="Store that a daemon records.")
@click.option("--module", help="Number of the module, in hexadecimal digits.")
@click.option("--reference", help="Name of the reference, up to 40 letters; kept on the module.")
@click.option("--limits", help="Its limits of error: per cent of reading + units, such as 0.5%+0.1.")
@click.option("--operator", help="Name or initials; stays in the store.")
@click.option("--reason", default="calibration", show_default=True, help="Why; stays in the store.")
@click.option("--zero", is_flag=True, help="Check the zero only: nothing applied, gain and day stay.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def calibrate(
    channel: str | None, store: Path, module: str | None, reference: str | None, limits: str | None,
    operator: str | None, reason: str, zero: bool, as_json: bool,
) -> None:  # fmt: skip
    """Calibrate a channel step by step, or show what is in force and when it is due.

    You apply a reference, type what it shows, and hold it for some twenty seconds; two points at least, an
    empty line ends. The module keeps gain, offset, their uncertainty, day and the reference's name; nothing
    is sent before you have seen errors as found and as left and said yes.
    """
    from ingest.analysis.calibration import channel as channel_named
    from ingest.calibrate import Guide

    number = _module(module)
    if channel is None:
        _show(store, number, as_json)
        return
    about = channel_named(channel)
    if not (operator or "").strip() or not (zero or (reference or "").strip()):
        raise UserError("A calibration needs who and against what: --operator, and --reference or --zero.")
    said = _limits(limits) if not zero else None
    guide = Guide(store, number, about)
    assert operator is not None
    if said is None:
        _zero(guide, operator, reason)
    else:
        assert reference is not None
        _points(guide, said, reference, operator, reason)


def _module(text: str | None) -> int | None:
    try:
        return None if text is None else int(text, 16)
    except ValueError:
        raise UserError(f"--module {text}: write the module's number in hexadecimal digits.") from None


def _limits(text: str | None) -> "Reference":
    from ingest.analysis.calibration import Reference

    found = re.fullmatch(r"\s*(?:([0-9.]+)\s*%)?\s*\+?\s*([0-9.]+)?\s*", text or "")
    try:
        parts = [float(part or 0) for part in found.groups()] if found and text else []
    except ValueError:
        parts = []
    if not parts or not any(parts) or parts[0] > 10:
        raise UserError(
            f"--limits {text or ''}: write the reference's limits of error, such as 0.5%+0.1 (10 % at most)."
        )
    return Reference(percent=parts[0], absolute=parts[1])


def _ask(text: str) -> str:
    return str(click.prompt(text, default="", show_default=False, err=True)).strip().replace(",", ".")


def _hold(guide: "Guide", reference: float) -> "Point":
    click.echo("  hold it still ...", err=True)
    point = guide.hold(reference)
    about = guide.about
    shown = guide.factor() * guide.before.value(about, point.code)
    click.echo(f"  codes {point.code:.2f} ({point.low:.1f} to {point.high:.1f}), the module shows "
               f"{shown:.3f} {about.unit}", err=True)  # fmt: skip
    return point


def _zero(guide: "Guide", operator: str, reason: str) -> None:
    from ingest.analysis.calibration import zero_check

    _ask(f"{guide.about.name}: open it to nothing (air, no voltage), wait until it rests, press Enter")
    point = _hold(guide, 0.0)
    offset = zero_check(guide.about, point)
    click.echo(f"offset {guide.before.offset} -> {offset} codes", err=True)
    _confirmed()
    guide.put_zero_in_force(offset, point, operator, reason)
    click.echo("The module confirmed the zero check.")


def _points(guide: "Guide", said: "Reference", name: str, operator: str, reason: str) -> None:
    from ingest.analysis.calibration import solve

    about = guide.about
    points: list[Point] = []
    while True:
        text = _ask(f"Point {len(points) + 1}: apply it, type what the reference shows in {about.unit} "
                    "(empty ends)")  # fmt: skip
        if not text:
            break
        try:
            points.append(_hold(guide, float(text)))
        except ValueError:
            click.echo(f"  '{text}' is not a number.", err=True)
        except UserError as error:
            click.echo(f"  Not taken: {error}", err=True)
    result = solve(about, points, said, guide.before, guide.factor())
    for line in report(result, guide.drifted(result), guide.before.gain, guide.before.offset):
        click.echo(line, err=True)
    _confirmed()
    guide.put_in_force(result, name, operator, reason)
    click.echo("The module confirmed the calibration.")


def _confirmed() -> None:
    if not click.confirm("Put it in force?", default=False, err=True):
        raise UserError("Nothing was sent; the old calibration stays in force.")


def report(result: "Result", drift: "Drift | None", gain: int, offset: int) -> list[str]:
    """Return what a person must see before saying yes: points as found and as left, and coefficients."""
    unit, new = result.channel.unit, result.coefficients
    lines = [f"{'reference':>12}{'as found':>12}{'as left':>12}{'U (k=2)':>12}  {unit}"]
    for point, found, left in zip(result.points, result.found, result.left, strict=True):
        expanded = 2 * result.uncertainty(point.reference)
        lines.append(f"{point.reference:12.3f}{found:+12.3f}{left:+12.3f}{expanded:12.3f}")
    lines.append(f"gain {gain / 16384:.5f} -> {new.gain / 16384:.5f}, u {result.gain_u_ppm / 1e4:.3f} %")
    lines.append(f"offset {offset} -> {new.offset} codes, u {result.offset_u:.2f} codes")
    if result.widened > 1:
        lines.append(f"the points scatter {result.widened:.1f} times more than their codes explain")
    if drift is not None:
        word = "drifted" if drift.is_proven else "no drift proven"
        lines.append(f"since the calibration before, at {drift.at:g} {unit}: {drift.change:+.3f} "
                     f"(U {drift.expanded:.3f}): {word}")  # fmt: skip
    return lines


def _show(store: Path, module: int | None, as_json: bool) -> None:
    import time

    from firmware_sim.contract import channels
    from firmware_sim.contract import settings as s
    from ingest.change_settings import in_force
    from ingest.store.reader import open_reader

    number, found = in_force(store, module)
    with open_reader(store) as reader:
        newest = {one.channel: one for one in reader.calibrations(number)}
    interval = found.values[s.ID_OF["calibration.interval"]]
    today = time.time_ns() // 1_000_000 // DAY_MS
    rows = []
    for row in channels.CHANNELS:
        gain, offset = (found.values[s.ID_OF[f"calibration.{row[1]}_{part}"]] for part in ("gain", "offset"))
        one = newest.get(row[1])
        vouched = one is not None and one.in_force and (one.gain, one.offset) == (gain, offset)
        told: dict[str, str | int | float | None] = {
            "channel": row[1], "gain": round(gain / 16384, 5), "offset_codes": offset, "reference": None,
            "day": None, "due_in_days": None, "gain_u_percent": None, "offset_u_codes": None,
        }  # fmt: skip
        if one is not None and vouched:
            told.update(reference=one.reference, day=one.day, offset_u_codes=one.offset_u)
            if one.points > 1:
                told.update(due_in_days=one.day + interval - today,
                            gain_u_percent=round(one.gain_u_ppm / 1e4, 4))  # fmt: skip
        rows.append(told)
    if as_json:
        click.echo(json.dumps({"module": f"{number:08x}", "calibrations": rows}))
        return
    for told in rows:
        click.echo(_line(told))


def _line(told: "dict[str, str | int | float | None]") -> str:
    from datetime import UTC, datetime

    start = f"{told['channel']:18}gain {told['gain']:.5f}  offset {told['offset_codes']:>4}"
    if told["day"] is None:
        return f"{start}  nobody vouches for it: never calibrated, or set by hand"
    day = datetime.fromtimestamp(int(told["day"]) * 86_400, UTC).strftime("%Y-%m-%d")
    if told["due_in_days"] is None:
        return f"{start}  {day}, zero check only: nobody vouches for the gain"
    due = int(told["due_in_days"])
    when = f"due in {due} days" if due >= 0 else f"{-due} days overdue"
    return f"{start}  {day}, {told['reference'] or 'no reference named'}, {when}"
