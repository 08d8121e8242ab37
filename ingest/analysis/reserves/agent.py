"""Work out how much volatile agent a vaporizer uses and how long the filling lasts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from ingest.analysis.refusal import Refused
from ingest.analysis.units import checked

# mL of vapour from one mL of liquid at 20 °C (published, Indian J Anaesth 2013;57:455 and its sources).
EXPANSION: Final[Mapping[str, float]] = MappingProxyType(
    {"halothane": 227.0, "isoflurane": 195.0, "sevoflurane": 183.0}
)
RULE_OF_THUMB: Final = 3.0  # mL/h ≈ 3 × FGF (L/min) × vol %: Indian J Anaesth 2013;57:455 (published)


@dataclass(frozen=True, slots=True, kw_only=True)
class AgentUse:
    """Hold use by the exact formula and the rule of thumb (mL/h), and hours left by the larger."""

    exact_ml_h: float
    thumb_ml_h: float
    hours_left: float
    carrier_l_min: float


def agent_ml_h(*, agent: str, carrier_l_min: float, level_percent: float) -> float:
    """Return mL/h = carrier (mL/min)·(%/100)·60/E; E at 20 °C by EXPANSION (published)."""
    if agent not in EXPANSION:
        raise Refused("refused.unknown_agent", agent=repr(agent), known=", ".join(EXPANSION))
    level = checked("agent level", level_percent)
    return carrier_l_min * 1000.0 * (level / 100.0) * 60.0 / EXPANSION[agent]


def agent_use(
    *,
    agent: str,
    level_percent: float,
    filling_ml: float,
    draw_over: bool,
    minute_volume_l_min: float | None = None,
    fresh_gas_l_min: float | None = None,
) -> AgentUse:
    """Return use and hours left. The carrier is the minute volume in draw-over, else the fresh gas flow.

    Hours left take the larger of the two uses, so they are the shorter answer. None is allowed only for
    the flow that isn't the carrier.
    """
    if draw_over:
        carrier = checked("minute volume", minute_volume_l_min)
    else:
        carrier = checked("fresh gas flow", fresh_gas_l_min)
    exact = agent_ml_h(agent=agent, carrier_l_min=carrier, level_percent=level_percent)
    thumb = RULE_OF_THUMB * carrier * level_percent
    filling = checked("agent in the vaporizer", filling_ml)
    worst = max(exact, thumb)
    return AgentUse(
        exact_ml_h=exact,
        thumb_ml_h=thumb,
        hours_left=filling / worst if worst > 0 else math.inf,
        carrier_l_min=carrier,
    )
