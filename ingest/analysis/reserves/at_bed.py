"""What the circuit gets and what the vaporizer still holds: calculated from entries and the module."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Protocol

import numpy as np

from firmware_sim.contract.channels import OXYGEN_STATES
from ingest.analysis.reserves.agent import AgentUse, agent_use
from ingest.analysis.reserves.entries import AgentEntry, Entered
from ingest.analysis.reserves.mixture import (
    DrawOverMixture,
    draw_over_mixture,
    fio2_with_reservoir,
    fio2_without_reservoir,
)

BREATHS_MS: Final = 60_000
# States in which the purity reading speaks for the gas that flows now.
PURITY_STATES: Final = ("current", "probably_cylinder", "starting")
SHARE_USUAL_PERCENT: Final = 100.0 / 3.0  # inspiration to expiration 1:2: common practice, no source
HOUR_MS: Final = 3_600_000


class Store(Protocol):
    """What is asked of a store's reader; rows as it returns them."""

    def breaths(self, module: int, start: int, end: int) -> Any:
        """Return the breaths: ti, te (ms), rate (/min)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MixtureNow:
    """Hold the calculated inspired fraction (0-1) with and without a reservoir tube, and the rule here.

    `here` None: rate or pattern isn't known, so nobody can tell whether the tube is long enough. `rate_min`
    and `share_percent` from the module's newest breaths, None: none seen. `unknown`: text keys.
    """

    with_reservoir: float
    without_reservoir: float
    here: DrawOverMixture | None
    oxygen_l_min: float
    purity_percent: float
    minute_volume_l_min: float
    reservoir_l: float
    rate_min: float | None
    share_percent: float | None
    unknown: tuple[str, ...]

    @property
    def lowest(self) -> float:
        """Return the figure to reckon with: by the rule that holds, else the lower one."""
        return self.without_reservoir if self.here is None else self.here.fio2_calculated


@dataclass(frozen=True, slots=True, kw_only=True)
class AgentNow:
    """Hold use, mL left at least, whole minutes left at least (None: no end), and the entry behind it."""

    entry: AgentEntry
    use: AgentUse
    left_ml: float
    minutes_low: int | None
    unknown: tuple[str, ...]


def mixture_now(
    store: Store, module: int, told: Entered, latest: Any
) -> tuple[MixtureNow | None, tuple[str, ...]]:
    """Return the mixture by entries, purity and pattern; None and text keys of what is missing."""
    entry, missing = told.mixture, []
    if entry is None:
        missing.append("mixture.not_entered")
    if told.demand is None:
        missing.append("cylinder.flow_not_entered")
    purity = _purity(latest)
    if purity is None:
        missing.append("mixture.purity_not_current")
    if entry is None or told.demand is None or purity is None:
        return None, tuple(missing)
    rate, share = _pattern(store, module, latest.t)
    flows = {
        "minute_volume_l_min": entry.minute_volume_l_min, "oxygen_l_min": told.demand.added_oxygen_l_min,
        "purity_percent": purity,
    }  # fmt: skip
    used = SHARE_USUAL_PERCENT if share is None else share
    here = None
    if rate is not None and share is not None:
        here = draw_over_mixture(
            **flows, rate_min=rate, inspired_share_percent=share, reservoir_l=entry.reservoir_l
        )
    return MixtureNow(
        with_reservoir=fio2_with_reservoir(**flows),
        without_reservoir=fio2_without_reservoir(**flows, inspired_share_percent=used),
        here=here, rate_min=rate, share_percent=share, reservoir_l=entry.reservoir_l, **flows,
        unknown=("mixture.no_leak", "mixture.flow_right", "mixture.volume_by_hand")
        + (("mixture.no_pattern",) if here is None else ()),
    ), ()  # fmt: skip


def _purity(latest: Any) -> float | None:
    if latest is None or OXYGEN_STATES[latest.codes["oxygen_state"]] not in PURITY_STATES:
        return None
    reading = latest.readings.get("oxygen")
    return None if reading is None or not 15.0 <= reading <= 103.0 else min(float(reading), 100.0)


def _pattern(store: Store, module: int, newest_ms: int) -> tuple[float | None, float | None]:
    """Return rate (/min) and inspired share of the cycle (%) by the medians of the last minute's breaths."""
    rows = store.breaths(module, newest_ms - BREATHS_MS, newest_ms + 1)
    if not len(rows):
        return None, None
    rate, ti, te = (np.asarray(rows[name], np.float64) for name in ("rate", "ti", "te"))
    known = rate[~np.isnan(rate)]
    cycle = ti + te
    if not known.size or not (cycle > 0).all():
        return None, None
    share = float(np.clip(np.median(100.0 * ti / cycle), 5.0, 90.0))
    middle = float(np.median(known))
    return (middle, share) if 2.0 <= middle <= 80.0 else (None, None)


def agent_now(told: Entered, now_ms: int) -> AgentNow | None:
    """Return how long the filling lasts at least: what the larger use took since it was read is taken off."""
    entry = told.agent
    if entry is None:
        return None
    use = agent_use(
        agent=entry.agent, level_percent=entry.level_percent, filling_ml=entry.filling_ml,
        draw_over=entry.draw_over, minute_volume_l_min=entry.carrier_l_min,
        fresh_gas_l_min=entry.carrier_l_min,
    )  # fmt: skip
    worst = max(use.exact_ml_h, use.thumb_ml_h)
    left = max(entry.filling_ml - worst * max(now_ms - entry.at_ms, 0) / HOUR_MS, 0.0)
    return AgentNow(
        entry=entry, use=use, left_ml=left, minutes_low=int(60.0 * left / worst) if worst > 0 else None,
        unknown=("agent.dial", "agent.carrier_by_hand", "agent.temperature"),
    )  # fmt: skip

