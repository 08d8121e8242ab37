"""What the optional channels say of the battery: its voltage and the UPS's current, against the last test.

Both can only shorten the bound: a lighter load or a higher voltage proves no more minutes than the test did.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final, Protocol

import numpy as np
from numpy.typing import NDArray

from firmware_sim.contract import log_codes, messages
from firmware_sim.contract.channels import STATE_STORED_ENERGY
from ingest.analysis.reserves.battery import DAY_MS, EXPONENT_WORST, ProvenBound

NOW_MS: Final = 60_000
SECONDS_MIN: Final = 20  # of the last minute, or of the test: fewer readings tell nothing (house rule)
SMOOTH_S: Final = 30
VOLTAGE_ERROR: Final = 0.005  # of the reading; the channel is isolated and coarse (house rule)


class Store(Protocol):
    """What is asked of a store's reader; rows as it returns them."""

    def records(self, message_id: int, module: int, start: int, end: int) -> Any:
        """Return all records of one message as columns."""

    def bands(self, module: int, start: int, end: int, column: str) -> Any:
        """Return the stretches of one code."""

    def trends(self, module: int, start: int, end: int, quantities: Any = ..., pixels: Any = ...) -> Any:
        """Return quantities second by second."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DischargeTrace:
    """Hold a recorded discharge test: seconds from its start, volts and amperes, NaN where not measured."""

    seconds: NDArray[np.float64]
    volts: NDArray[np.float64]
    amperes: NDArray[np.float64]


def trace_of(store: Store, module: int, proven_day: int) -> DischargeTrace | None:
    """Return what the channels recorded in the test of a day, None where the record doesn't hold it.

    Only the time on stored energy counts: before and after it the battery was charging.
    """
    rows = store.records(
        messages.LOG, module, proven_day * DAY_MS - DAY_MS, (proven_day + 2) * DAY_MS
    )
    marks = [
        (int(t), int(first)) for t, code, first in zip(rows.t, rows["code"], rows["first"], strict=True)
        if code == log_codes.BATTERY_TEST
    ]  # fmt: skip
    ends = [at for at, first in marks if first == 0]
    starts = [at for at, first in marks if first == 1 and ends and at < ends[-1]]
    if not starts:
        return None
    start, end = starts[-1], ends[-1]
    found = store.trends(module, start, end, ["battery_voltage", "ups_current"])
    stored = np.zeros(len(found.t), bool)
    for band in store.bands(module, start, end, "supply_state"):
        if band.code == STATE_STORED_ENERGY:
            stored[slice(*np.searchsorted(found.t, (band.start, band.end)))] = True
    if int(stored.sum()) < SECONDS_MIN:
        return None
    return DischargeTrace(
        seconds=np.arange(int(stored.sum()), dtype=np.float64),
        volts=found.mean["battery_voltage"][stored], amperes=found.mean["ups_current"][stored],
    )  # fmt: skip


def shortened(
    bound: ProvenBound, store: Store, module: int, *, proven_day: int, minutes: float, newest_ms: int,
    on_battery: bool,
) -> ProvenBound:  # fmt: skip
    """Return the bound as the channels shorten it; as it was where none is fitted or the test isn't held.

    Load: the larger current shortens by the worst Peukert exponent, 1.6 (published range). Voltage: while on
    the battery, no more minutes than the test still gave at this voltage.
    """
    now = store.trends(module, newest_ms - NOW_MS, newest_ms + 1, ["battery_voltage", "ups_current"])
    volts, amperes = _middle(now.mean["battery_voltage"]), _middle(now.mean["ups_current"])
    if minutes <= 0 or (volts is None and amperes is None):
        return bound
    trace = trace_of(store, module, proven_day)
    if trace is None:
        return bound
    then = _middle(trace.amperes)
    if amperes is not None and then is not None and then > 0:
        factor = min(1.0, (then / amperes) ** EXPONENT_WORST) if amperes > 0 else 1.0
        unknown = tuple(key for key in bound.unknown if key != "battery.load_unknown")
        bound = replace(
            bound, minutes_low=bound.minutes_low * factor, load_factor=bound.load_factor * factor,
            unknown=unknown,
        )  # fmt: skip
    left = minutes_at_voltage(trace, volts) if on_battery and volts is not None else None
    if left is not None and left * bound.load_factor < bound.minutes_low:
        bound = replace(
            bound, minutes_low=left * bound.load_factor, unknown=("battery.by_voltage", *bound.unknown)
        )
    return bound


def minutes_at_voltage(trace: DischargeTrace, volts: float) -> float | None:
    """Return how long the test still lasted once its voltage was down to `volts`; None: no voltage recorded.

    The curve is smoothed over 30 s and taken as falling only; the reading's error goes against the bound.
    """
    known = ~np.isnan(trace.volts)
    if int(known.sum()) < SECONDS_MIN:
        return None
    seconds, curve = trace.seconds[known], trace.volts[known]
    width = min(SMOOTH_S, len(curve))
    smooth = np.convolve(curve, np.ones(width) / width, "valid")
    falling, at = np.minimum.accumulate(smooth), seconds[width - 1 :]
    above = np.flatnonzero(falling > volts * (1.0 - VOLTAGE_ERROR))
    reached = at[above[-1]] if above.size else at[0]
    return float(max(at[-1] - reached, 0.0)) / 60.0


def _middle(values: NDArray[np.float64]) -> float | None:
    known = values[~np.isnan(values)]
    return float(np.median(known)) if known.size >= SECONDS_MIN else None
