"""Judge the steps of oxygen and circuit: purity, two points, zero, hold, alarms, gauge."""

from __future__ import annotations

from typing import Final

import numpy as np

from firmware_sim.contract import alarms
from ingest.analysis.guided.sight import FAILED, PASSED, WAITING, Sight, Verdict
from ingest.analysis.refusal import Refused
from ingest.analysis.reserves.entries import entered, entered_marks
from ingest.analysis.reserves.standing import GAUGE_OLD_MS

PURE_PCT: Final = 90.0  # normal output of a concentrator is 90-96 % (published)
AIR_PCT, AIR_ROOM = 20.9, 1.0  # dry air 20.9 % (definition); ±1 %: house rule
STILL_PCT: Final = 1.0
STEADY_S: Final = 30
ZERO_S, ZERO_MAX = 10, 0.5  # cmH2O; a drift of 1-2 decides low limits (trade): half of the smaller
# Hold at 30 cmH2O for 10 s: a common pre-use leak test (from memory); the room around 30 and a loss of 5 are
# house rules. Above 40 the module ends it.
HOLD_S, HOLD_LOW, HOLD_HIGH, HOLD_LOSS = 10, 25.0, 40.0, 5.0
HIGH: Final = alarms.PRIORITIES.index("high")
RAISED: Final = alarms.TRANSITIONS.index("raised")


def purity(sight: Sight) -> Verdict:
    """Pass once the source's oxygen is 90 % or more for 30 s, proven current; figure: %."""
    values = sight.newest("oxygen", STEADY_S)
    states = sight.states("oxygen_state")
    if values is None or not states:
        return Verdict(state=WAITING, key="guided.no_reading")
    mean, name = float(values.mean()), states[-1][2]
    if name != "current":
        return Verdict(state=WAITING, key=f"guided.oxygen_{name}", value=mean, unit="%")
    good = values.min() >= PURE_PCT
    return Verdict(state=PASSED if good else WAITING, value=mean, unit="%", params={"least": round(PURE_PCT)},
                   key="guided.pure" if good else "guided.not_pure")  # fmt: skip


def oxygen_air(sight: Sight) -> Verdict:
    """Pass when the cell reads 20.9 ± 1 % for 30 s, still; figure: %."""
    return _point(sight, AIR_PCT - AIR_ROOM, AIR_PCT + AIR_ROOM)


def oxygen_high(sight: Sight) -> Verdict:
    """Pass when the cell reads 90 to 100 % for 30 s, still: an old cell tops out early; figure: %."""
    return _point(sight, PURE_PCT, 100.5)


def _point(sight: Sight, low: float, high: float) -> Verdict:
    values = sight.newest("oxygen", STEADY_S)
    if values is None:
        return Verdict(state=WAITING, key="guided.no_reading")
    inside = low <= values.mean() <= high and np.ptp(values) <= STILL_PCT
    return Verdict(
        state=PASSED if inside else WAITING, key="guided.point_good" if inside else "guided.point_awaited",
        params={"low": round(low, 1), "high": round(high, 1), "points": sight.calibration_points("oxygen")},
        value=float(values.mean()), unit="%",
    )  # fmt: skip


def zero(sight: Sight) -> Verdict:
    """Pass when the open channel reads within ±0.5 cmH2O for 10 s, still; figure: cmH2O."""
    found = sight.seconds("pressure")
    mean = found.mean["pressure"][-ZERO_S:]
    if len(mean) < ZERO_S or np.isnan(mean).any():
        return Verdict(state=WAITING, key="guided.no_reading")
    swing = found.maximum["pressure"][-ZERO_S:].max() - found.minimum["pressure"][-ZERO_S:].min()
    value = float(mean.mean())
    shown = {"limit": ZERO_MAX, "points": sight.calibration_points("pressure")}
    if swing > 2.0:
        return Verdict(state=WAITING, key="guided.zero_moves", params=shown, value=value, unit="cmH2O",
                       digits=2)  # fmt: skip
    good = abs(value) <= ZERO_MAX
    return Verdict(state=PASSED if good else FAILED, key="guided.zero_good" if good else "guided.zero_off",
                   params=shown, value=value, unit="cmH2O", digits=2)  # fmt: skip


def hold(sight: Sight) -> Verdict:
    """Look for 10 s of held pressure of at least 25 cmH2O; figure: what was lost in them, cmH2O.

    Fails on a breath, and above 40 cmH2O, where the module ends the test. Pumping up again begins anew.
    """
    found = sight.seconds("pressure")
    mean, highest = found.mean["pressure"], found.maximum["pressure"]
    if np.any(highest > HOLD_HIGH):
        return Verdict(state=FAILED, key="guided.hold_high", value=float(np.nanmax(highest)), unit="cmH2O")
    if len(sight.store.breaths(sight.module, sight.start, sight.end + 1)) > 1:
        return Verdict(state=FAILED, key="guided.hold_breath")
    start = _held(mean)
    if start is None:
        return Verdict(state=WAITING, key="guided.hold_pump", params={"seconds": HOLD_S})
    lost = float(mean[start] - mean[start + HOLD_S])
    good = lost <= HOLD_LOSS
    return Verdict(
        state=PASSED if good else FAILED, key="guided.hold_tight" if good else "guided.hold_leaks",
        params={"from": round(float(mean[start]), 1), "seconds": HOLD_S}, value=lost, unit="cmH2O",
        at_ms=int(found.t[start + HOLD_S]),
    )  # fmt: skip


def _held(mean: np.ndarray) -> int | None:
    """Return the first second from which nobody pumps for 10 s, at 25 cmH2O or more; None: not yet."""
    for start in range(len(mean) - HOLD_S):
        part = mean[start : start + HOLD_S + 1]
        if np.isnan(part).any() or part[0] < HOLD_LOW:
            continue
        if np.all(np.diff(part) <= 0.5):
            return start
    return None


def alarm_drilled(sight: Sight) -> Verdict:
    """Pass once a high-priority circuit alarm was raised; a person says that lamp and sound came too."""
    for one in sight.store.alarm_transitions(sight.module, sight.start, sight.end + 1):
        row = alarms.ROWS[one.row]
        if one.transition == RAISED and row.circuit and one.priority == HIGH:
            return Verdict(state=PASSED, key="guided.alarm_raised", params={"row": row.name},
                           value=(one.t - sight.start) / 1000.0, unit="s", at_ms=one.t)  # fmt: skip
    return Verdict(state=WAITING, key="guided.alarm_awaited")


def gauge_entered(sight: Sight) -> Verdict:
    """Pass when a cylinder's gauge was entered within 12 h; figure: bar."""
    try:
        told = entered(entered_marks(sight.store, sight.module, sight.end))
    except Refused:
        return Verdict(state=WAITING, key="guided.gauge_awaited")
    if told.cylinder is None or not told.readings or sight.end - told.readings[-1].at_ms > GAUGE_OLD_MS:
        return Verdict(state=WAITING, key="guided.gauge_awaited")
    newest = told.readings[-1]
    return Verdict(state=PASSED, key="guided.gauge_read", params={"size": told.cylinder.size},
                   value=newest.gauge_bar, unit="bar", digits=0, at_ms=newest.at_ms)  # fmt: skip


def person(sight: Sight) -> Verdict:
    """Ask a person: nothing measures this."""
    return Verdict(state=PASSED, key="guided.by_a_person")
