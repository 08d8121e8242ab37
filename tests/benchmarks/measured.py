"""The figures that were kept by `run.py --keep`: README shows them, `make docs` renews the table."""

import json
from pathlib import Path

from firmware_sim.docs import table

KEPT = Path(__file__).parent / "measured.json"
AGAINST = ", against "


def number(value):
    """Write a figure with three digits, large ones whole."""
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"


def write_figures():
    """Write every figure with its peer; a ratio above 1 means that ours is better."""
    kept = json.loads(KEPT.read_text("utf-8"))
    rows = []
    for row in kept["rows"]:
        name, _, peer = row["name"].partition(AGAINST)
        ratio = "" if row["ratio"] is None else f"{row['ratio']:.2f} ×"
        rows.append((name, f"{number(row['figure'])} {row['unit']}", peer, ratio))
    heads = ("figure", "ours", "peer in the same run", "ours is better by")
    return f"{kept['machine']}\n\n{table(heads, rows)}"


BLOCKS = {"figures": write_figures}
