"""Measure how far what is read from pressure lies from the simulated plant's truth; write it down as data.

Run from the top of the project: python -m tests.support.breathing_errors PATIENTS
"""

import json
import sys
from pathlib import Path

import numpy as np

from ingest.analysis.breathing.kinds import judge_kinds
from tests.support.world_breathing import play, random_settings

DATA = Path(__file__).parents[2] / "hardware_notes" / "breathing_errors.json"
SOURCES = {1: "ventilator", 2: "hand", 3: "patient"}
SECONDS, SEED = 120, 4711
QUANTITIES = ("peak", "end_expiratory", "mean")


def measure(patients: int, seed: int = SEED) -> dict:
    """Return, for each source, counts and the 50 and 99 % points of absolute errors, over random patients."""
    rng = np.random.default_rng(seed)
    out = {}
    for source, name in SOURCES.items():
        errors: dict[str, list[np.ndarray]] = {key: [] for key in (*QUANTITIES, "period")}
        counts = {"breaths": 0, "extra": 0, "missed": 0, "undetermined": 0, "misjudged": 0}
        for index in range(patients):
            played = play(random_settings(rng, source), seconds=SECONDS, seed=index + 1)
            rows, truth, extra, missed = played.pairs()
            judged = np.array(judge_kinds(played.found).names())[rows]
            counts["breaths"] += int(rows.size)
            counts["extra"] += extra
            counts["missed"] += missed
            counts["undetermined"] += int(np.sum(judged == "undetermined"))
            counts["misjudged"] += int(np.sum((judged != name) & (judged != "undetermined")))
            for key in QUANTITIES:
                true = played.truth[f"{key}_ucm"][truth] / 1000
                errors[key].append(getattr(played.found, key)[rows] - true)
            period = (played.truth["ti_ms"] + played.truth["te_ms"])[truth] / 1000.0
            errors["period"].append(played.found.period_s[rows] - period)
        joined = {key: np.abs(np.concatenate(parts)) for key, parts in errors.items()}
        points = {
            key: [round(float(np.percentile(values, p)), 3) for p in (50, 99)]
            for key, values in joined.items()
        }
        out[name] = counts | {"errors": points}
    return {"patients": patients, "seconds": SECONDS, "seed": seed, "sources": out}


if __name__ == "__main__":
    found = measure(int(sys.argv[1]))
    found["command"] = f"python -m tests.support.breathing_errors {sys.argv[1]}"
    DATA.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    print(json.dumps(found))
