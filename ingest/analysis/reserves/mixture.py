"""Work out the mixture of a draw-over circuit: calculated from flows, never measured here."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ingest.analysis.units import checked

AIR_OXYGEN: Final = 0.21  # the figure the published formula uses
AIR_OXYGEN_PERCENT: Final = 100.0 * AIR_OXYGEN


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawOverMixture:
    """Hold a calculated inspired fraction (0–1), the rule that gave it, and what it takes for granted."""

    fio2_calculated: float
    rule: str
    assumes: tuple[str, ...]


def fio2_with_reservoir(*, minute_volume_l_min: float, oxygen_l_min: float, purity_percent: float) -> float:
    """Return FiO2 = [0.21 (MV − Q) + p Q]/MV for Q ≤ MV; above that the purity itself.

    Holds where a reservoir tube keeps all the oxygen that flows during expiration.
    Source: published formula (medicalalgorithms.com, p = 1 there); Shrestha et al. 1994.
    """
    volume = checked("minute volume", minute_volume_l_min)
    flow = min(checked("oxygen flow", oxygen_l_min), volume)
    purity = checked("source oxygen purity", purity_percent) / 100.0
    return (AIR_OXYGEN * (volume - flow) + purity * flow) / volume


def fio2_without_reservoir(
    *, minute_volume_l_min: float, oxygen_l_min: float, purity_percent: float, inspired_share_percent: float
) -> float:
    """Return FiO2 = 0.21 + (p − 0.21)(Q/MV)(Ti/Ttot): oxygen that flows in expiration is lost.

    Holds at a constant inspiratory flow MV/(Ti/Ttot) above Q; from there on the purity itself.
    Source: mass balance over the inspiration (definition); Jarvis, Brock-Utne 1991 found it lower than
    with a reservoir and dependent on the pattern.
    """
    volume = checked("minute volume", minute_volume_l_min)
    share = checked("inspired share of the cycle", inspired_share_percent) / 100.0
    purity = checked("source oxygen purity", purity_percent) / 100.0
    part = min(1.0, checked("oxygen flow", oxygen_l_min) / volume * share)
    return AIR_OXYGEN + (purity - AIR_OXYGEN) * part


def draw_over_mixture(
    *,
    minute_volume_l_min: float,
    oxygen_l_min: float,
    purity_percent: float,
    rate_min: float,
    inspired_share_percent: float,
    reservoir_l: float,
) -> DrawOverMixture:
    """Choose the rule by the reservoir: its volume must hold Q·Te, else the one without is used.

    A reservoir too small is taken as none, which is the lower figure.
    """
    share = checked("inspired share of the cycle", inspired_share_percent) / 100.0
    expiration_min = (1.0 - share) / rate_min
    oxygen = checked("oxygen flow", oxygen_l_min)
    if checked("reservoir volume", reservoir_l) >= oxygen * expiration_min:
        value = fio2_with_reservoir(
            minute_volume_l_min=minute_volume_l_min, oxygen_l_min=oxygen, purity_percent=purity_percent
        )
        return DrawOverMixture(
            fio2_calculated=value, rule="mixture.reservoir", assumes=("mixture.no_leak", "mixture.flow_right")
        )
    value = fio2_without_reservoir(
        minute_volume_l_min=minute_volume_l_min, oxygen_l_min=oxygen, purity_percent=purity_percent,
        inspired_share_percent=inspired_share_percent,
    )  # fmt: skip
    return DrawOverMixture(
        fio2_calculated=value,
        rule="mixture.no_reservoir",
        assumes=("mixture.no_leak", "mixture.flow_right", "mixture.constant_inspiratory_flow"),
    )
