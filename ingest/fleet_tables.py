"""Put the finished nights of a fleet together: Parquet files in order of seed, and rates over them."""

import json
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from ingest.analysis.fleet import Rate, rates
from ingest.errors import UserError
from ingest.fleet import PRIORITIES, Plan, night_file

# Tables that may be empty.
SHAPES = {
    "alarms": pa.schema([("seed", pa.int64()), ("alarm", pa.string()), ("priority", pa.string()),
                         ("start_s", pa.float64()), ("duration_s", pa.float64()), ("end_seen", pa.bool_())]),
    "supply_events": pa.schema([("seed", pa.int64()), ("tap", pa.string()), ("event", pa.string()),
                                ("start_s", pa.float64()), ("duration_s", pa.float64()),
                                ("extreme_v", pa.float64())]),
}  # fmt: skip


def gather(plan: Plan, out: Path) -> list[Rate]:
    """Write the Parquet files from the finished nights of a plan; return the rates over them.

    Raise UserError when not one night is finished.
    """
    files = [night_file(out, seed) for seed in plan.seeds() if night_file(out, seed).exists()]
    if not files:
        raise UserError(f"{out} holds no finished night of this plan; run it for longer.")
    found = [json.loads(file.read_text(encoding="utf-8")) for file in files]
    for name, shape in SHAPES.items():
        rows = [{"seed": night["night"]["seed"], **row} for night in found for row in night[name]]
        _write(out / f"{name}.parquet", rows, shape)
    _write(out / "nights.parquet", [night["night"] for night in found])
    result = rates([amounts(night) for night in found], *_names(found))
    _write(out / "rates.parquet", [flat(one) for one in result])
    return result


def flat(one: Rate) -> dict[str, Any]:
    """Return a rate as one row; None stands for what is not known."""
    row = {
        "name": one.name, "total": one.total, "nights": one.nights, "method": one.method,
        "share": one.share.value, "share_low": one.share.low, "share_high": one.share.high,
        "per_night": one.per_night.value, "per_night_low": one.per_night.low,
        "per_night_high": one.per_night.high, "clustering": one.clustering,
    }  # fmt: skip
    return {name: None if value != value else value for name, value in row.items()}


def amounts(night: dict[str, Any]) -> dict[str, float]:
    """Return what one night had: alarms by row and priority, events by tap and kind, minutes without."""
    out: dict[str, float] = {"min unmonitored": float(night["night"]["unmonitored_min"])}
    for row in night["alarms"]:
        for name in (f"alarm {row['alarm']}", f"alarms, {row['priority']} priority"):
            out[name] = out.get(name, 0.0) + 1
    for row in night["supply_events"]:
        name = f"{row['event']}s, {'mains' if row['tap'] == 'in' else 'behind the UPS'}"
        out[name] = out.get(name, 0.0) + 1
        if row["event"] == "interruption" and row["duration_s"] is not None:
            lost = f"min interrupted, {'mains' if row['tap'] == 'in' else 'behind the UPS'}"
            out[lost] = out.get(lost, 0.0) + row["duration_s"] / 60
    return out


def _names(found: list[dict[str, Any]]) -> tuple[list[str], list[str]]:
    seen = sorted({name for night in found for name in amounts(night)})
    fixed = [f"alarms, {priority} priority" for priority in PRIORITIES.values()]
    fixed += ["interruptions, mains", "interruptions, behind the UPS"]
    counted = [name for name in seen if not name.startswith("min ") and name not in fixed]
    continuous = sorted({*(name for name in seen if name.startswith("min ")), "min interrupted, mains",
                         "min interrupted, behind the UPS"})  # fmt: skip
    return fixed + counted, continuous


def _write(path: Path, rows: list[dict[str, Any]], shape: Any = None) -> None:
    table = pa.Table.from_pylist(rows, shape).replace_schema_metadata({"origin": "SIMULATED"})
    part = path.with_name(path.name + ".part")
    pq.write_table(table, part, compression="zstd")
    part.replace(path)
