"""Every invented night, whole, through the real chain: what must be found is found, nothing is invented."""

import numpy as np
import pytest

from firmware_sim import scenarios
from firmware_sim.contract import channels, messages
from firmware_sim.core.supply import FLAG_DOUBTED
from firmware_sim.world.truth import Truth
from tests.support.findings import CHECKS, FOREVER, Night
from tests.support.nights import play
from tests.support.turns import by_turns

# A whole night takes up to a minute, so not every one has its turn each day.
ALWAYS = (
    "monsoon-night", "left-in-bypass", "circuit-apart", "generator-dawn", "sensor-trouble",
    "cylinder-takeover", "hospital-day",
)  # fmt: skip
NAMES = by_turns(scenarios.names(), ALWAYS, 6)


# One cycle at each end (class S, IEC 61000-4-30, from memory), so two on a length.
EDGE_MS = 20
# An event that begins and ends on slow slopes (an hour of brownout) is long.
SLOW_MS = 1_800_000
SLOPE_MS = 5_000
TAPS = {"in": 0, "out": 1}


def alike(event: dict, truth: Truth, edge_ms: int, swapped: bool) -> bool:
    """Tell whether a found event is this true one; with swapped taps the module sees them exchanged."""
    length_ms = (truth.end_ms or 0) - truth.start_ms
    if length_ms > SLOW_MS:
        # The voltage drifts across the threshold over a minute: one code of noise moves the edge by seconds.
        edge_ms = max(edge_ms, SLOPE_MS)
    return (
        event["tap"] == TAPS[truth.tap or ""] ^ swapped
        and abs(event["start_ms"] - truth.start_ms) <= edge_ms
        and abs(event["duration_ms"] - length_ms) <= 2 * edge_ms
    )


def broken_tap(night: Night, event: dict) -> bool:
    """Tell whether the tap's sensor was broken on purpose during an event: then it shows what isn't there."""
    name = ("supply_in", "supply_out")[event["tap"]]
    faults = [e for e in night.played.rig.scenario.events if e.actor == "board" and e.action == "sensor"]
    spans = [(e.t_s, e.t_s + float(e.params.get("duration_s", 1e9))) for e in faults
             if e.params["channel"] == name]  # fmt: skip
    start_s, end_s = event["start_ms"] / 1000, (event["start_ms"] + event["duration_ms"]) / 1000
    return any(first - 1 <= end_s and start_s <= last + 1 for first, last in spans)


def unmatched_supply_events(night: Night) -> list[str]:
    """Compare the events found with the true ones on both taps; a marginal one may be missing or present."""
    rig = night.played.rig
    truth = [t for t in rig.plant.truth() if t.kind in channels.SUPPLY_EVENT_KINDS]
    # A tap that is wrong on purpose sees a slow slope cross the threshold later, and reads another residual.
    skewed = any(e.actor == "board" and e.action in ("gain", "offset") for e in rig.scenario.events)
    edge_ms, residual_pct = (4000, 3.0) if skewed else (EDGE_MS, 1.0)
    found = night.supply_events()
    wrong = []
    for t in truth:
        if t.observability != "observable" or t.end_ms is None:
            continue
        same = [e for e in found if alike(e, t, edge_ms, bool(rig.scenario.initial.get("taps_swapped")))]
        what = f"{t.tap} {t.kind} {t.residual_pct} % at {t.start_ms} ms for {t.end_ms - t.start_ms} ms"
        if not same and not t.details.get("marginal") and covered(night, t.start_ms, t.end_ms):
            wrong.append(f"missed {what}")
        if same and abs(same[0]["extreme_pct"] - (t.residual_pct or 0)) > residual_pct:
            wrong.append(f"residual {same[0]['extreme_pct']:.2f} for {what}")
    for e in found:
        if e["flags"] & FLAG_DOUBTED:
            continue  # the module says itself that the sensor of this tap wasn't believed
        if not any(t.start_ms - edge_ms <= e["start_ms"] <= (t.end_ms or FOREVER) + edge_ms for t in truth):
            wrong.append(f"invented {e}")
    return wrong


def covered(night: Night, start_ms: int, end_ms: int) -> bool:
    """Tell whether the module ran during all of it and for the second before."""
    times, _ = night.records(messages.TREND)
    around = times[(times > start_ms - 2000) & (times < end_ms + 2000)]
    whole = len(around) > 0 and around[0] <= start_ms and around[-1] >= end_ms
    return whole and bool(np.all(np.diff(around) <= 1000))


@pytest.mark.parametrize("name", NAMES)
def test_what_must_be_found_is_found(name, tmp_path):
    """Truth is the scenario's own (self-consistent, invented); limits as stated in the scenario's data."""
    night = Night(play(name, tmp_path / "night.db"))
    wrong = []
    for finding in night.played.rig.scenario.must_find:
        fault = CHECKS[finding.kind](night, finding)
        if fault:
            wrong.append(f"{finding.kind}: {fault}")
    wrong += unmatched_supply_events(night)
    assert not wrong, "\n".join(wrong)
