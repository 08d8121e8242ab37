"""Every invented night, whole, through the real chain: what must be found is found, nothing is invented."""

import numpy as np
import pytest

from firmware_sim import scenarios
from firmware_sim.contract import channels, messages
from firmware_sim.world.truth import Truth
from tests.support.findings import CHECKS, FOREVER, Night
from tests.support.nights import play

# Sentences for the screens are tested beside the pages that say them.
LATER = {"note"}
SOAK = {"hospital-day"}
NAMES = [pytest.param(name, marks=pytest.mark.soak) if name in SOAK else name for name in scenarios.names()]


# One cycle each way at start and end, two on a length (class S: one cycle, from memory; both edges).
EDGE_MS = 40
TAPS = {"in": 0, "out": 1}


def alike(event: dict, truth: Truth) -> bool:
    """Tell whether a found event is this true one."""
    length_ms = (truth.end_ms or 0) - truth.start_ms
    return (
        event["tap"] == TAPS[truth.tap or ""]
        and abs(event["start_ms"] - truth.start_ms) <= EDGE_MS
        and abs(event["duration_ms"] - length_ms) <= EDGE_MS
    )


def unmatched_supply_events(night: Night) -> list[str]:
    """Compare the events found with the true ones on both taps; a marginal one may be missing or present."""
    truth = [t for t in night.played.rig.plant.truth() if t.kind in channels.SUPPLY_EVENT_KINDS]
    found = night.supply_events()
    wrong = []
    for t in truth:
        if t.observability != "observable" or t.end_ms is None:
            continue
        same = [e for e in found if alike(e, t)]
        what = f"{t.tap} {t.kind} {t.residual_pct} % at {t.start_ms} ms for {t.end_ms - t.start_ms} ms"
        if not same and not t.details.get("marginal") and covered(night, t.start_ms, t.end_ms):
            wrong.append(f"missed {what}")
        if same and abs(same[0]["extreme_pct"] - (t.residual_pct or 0)) > 1.0:
            wrong.append(f"residual {same[0]['extreme_pct']:.2f} for {what}")
    for e in found:
        if not any(t.start_ms - EDGE_MS <= e["start_ms"] <= (t.end_ms or FOREVER) + EDGE_MS for t in truth):
            wrong.append(f"invented {e}")
    return wrong


def covered(night: Night, start_ms: int, end_ms: int) -> bool:
    """Tell whether the module ran during all of it and for the second before."""
    times, _ = night.records(messages.TREND)
    around = times[(times > start_ms - 2000) & (times < end_ms + 2000)]
    return len(around) > 0 and around[0] <= start_ms and bool(np.all(np.diff(around) <= 1000))


@pytest.mark.parametrize("name", NAMES)
def test_what_must_be_found_is_found(name, tmp_path):
    """Truth is the scenario's own (self-consistent, invented); limits as stated in the scenario's data."""
    night = Night(play(name, tmp_path / "night.db"))
    wrong = []
    for finding in night.played.rig.scenario.must_find:
        if finding.kind not in LATER:
            fault = CHECKS[finding.kind](night, finding)
            if fault:
                wrong.append(f"{finding.kind}: {fault}")
    wrong += unmatched_supply_events(night)
    assert not wrong, "\n".join(wrong)
