"""Measure how far what is read from pressure lies from the simulated plant's truth; write it down as data.

Run from the top of the project: python -m tests.support.breathing_errors PATIENTS
"""

import json
import sys
from pathlib import Path

import numpy as np

from firmware_sim import compiled
from ingest.analysis.breathing.kinds import judge_kinds
from tests.support.world_breathing import KG, NEAR_MS, found_by_module, play, random_settings

DATA = Path(__file__).parents[2] / "hardware_notes" / "breathing_errors.json"
SOURCES = {1: "ventilator", 2: "hand", 3: "patient"}
# Rows of which nothing is promised: a small patient moves a draw-over circuit by less than can be told.
UNSEEN = ("child, patient", "infant, patient")
LEARNT_MS = 20_000  # the module learns rest and height from the first breaths
SECONDS, SEED = 60, 4711
QUANTITIES = ("peak", "end_expiratory", "mean")
COUNTS = ("breaths", "true", "extra", "missed", "undetermined", "misjudged", "module_true",
          "module_missed", "module_extra")  # fmt: skip


def lone(some: np.ndarray, others: np.ndarray, first: float, last: float) -> int:
    """Count what of `some` between two times (ms) has no partner among `others`."""
    inside = some[(some >= first) & (some < last)]
    if not inside.size or not others.size:
        return int(inside.size)
    return int((np.abs(inside[:, None] - others[None, :]).min(axis=1) >= NEAR_MS).sum())


def one_row(rng: np.random.Generator, source: int, group: str, patients: int, block) -> dict:
    """Return counts and the 50 and 99 % points of absolute errors over random patients of one kind."""
    errors: dict[str, list[np.ndarray]] = {key: [] for key in (*QUANTITIES, "period")}
    counts = dict.fromkeys(COUNTS, 0)
    for index in range(patients):
        played = play(random_settings(rng, source, group), seconds=SECONDS, seed=index + 1)
        starts = played.truth["start_ms"]
        module = 10 * found_by_module(played.trace.pressure_cmh2o, source, block)[:, 0]
        span = (5_000, 1000 * SECONDS - 10_000)
        learnt = (LEARNT_MS, span[1])
        counts["true"] += int(((starts >= span[0]) & (starts < span[1])).sum())
        counts["missed"] += lone(starts, played.found.start_ms, *span)
        counts["extra"] += lone(played.found.start_ms, starts, *span)
        counts["module_true"] += int(((starts >= LEARNT_MS) & (starts < span[1])).sum())
        counts["module_missed"] += lone(starts, module, *learnt)
        counts["module_extra"] += lone(module, starts, *learnt)
        if not len(played.found):
            continue
        rows, truth, _, _ = played.pairs()
        judged = np.array(judge_kinds(played.found).names())[rows]
        counts["breaths"] += int(rows.size)
        counts["undetermined"] += int(np.sum(judged == "undetermined"))
        counts["misjudged"] += int(np.sum((judged != SOURCES[source]) & (judged != "undetermined")))
        for key in QUANTITIES:
            errors[key].append(getattr(played.found, key)[rows] - played.truth[f"{key}_ucm"][truth] / 1000)
        period = (played.truth["ti_ms"] + played.truth["te_ms"])[truth] / 1000.0
        errors["period"].append(played.found.period_s[rows] - period)
    points = {}
    for key, parts in errors.items():
        joined = np.abs(np.concatenate(parts)) if parts else np.zeros(0)
        points[key] = [round(float(np.percentile(joined, p)), 3) for p in (50, 99)] if joined.size else [0, 0]
    return counts | {"errors": points}


def measure(patients: int, seed: int = SEED) -> dict:
    """Return one row for each size of patient and each source of breaths."""
    rng, block = np.random.default_rng(seed), compiled.load().breath_block
    out = {
        f"{group}, {name}": one_row(rng, source, group, patients, block)
        for group in KG
        for source, name in SOURCES.items()
    }
    return {"patients": patients, "seconds": SECONDS, "seed": seed, "sources": out}


if __name__ == "__main__":
    found = measure(int(sys.argv[1]))
    found["command"] = f"python -m tests.support.breathing_errors {sys.argv[1]}"
    DATA.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    print(json.dumps(found))
