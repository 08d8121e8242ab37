"""Draw-over mixture and vaporizer use: published worked examples."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.analysis.refusal import Refused
from ingest.analysis.reserves.agent import agent_ml_h, agent_use
from ingest.analysis.reserves.mixture import (
    draw_over_mixture,
    fio2_with_reservoir,
    fio2_without_reservoir,
)


@pytest.mark.parametrize(
    ("minute_volume", "oxygen", "purity", "percent", "tolerance"),
    [
        # Air to oxygen 5:1, oxygen 2 L/min, total 12: formula 34.17, measured 34 %:
        # Shrestha et al., Anaesthesia 1994;49:703 (P).
        (12.0, 2.0, 100.0, 34.17, 0.005),
        # 4 L/min with a reservoir tube, about 60 %; formula 60 % at MV 8.1:
        # letter, Anaesthesia 2006, 10.1111/j.1365-2044.2006.04727.x (P).
        (8.1, 4.0, 100.0, 60.0, 0.05),
        # MV 6, Q 2 with 100, 95, 93 % oxygen (D).
        (6.0, 2.0, 100.0, 47.3, 0.05),
        (6.0, 2.0, 95.0, 45.7, 0.05),
        (6.0, 2.0, 93.0, 45.0, 0.05),
        # 5 L/min of 93 % made up to 7 L/min with room air: 72.4 % (D).
        (7.0, 5.0, 93.0, 72.4, 0.05),
    ],
)
def test_with_a_reservoir(
    minute_volume: float, oxygen: float, purity: float, percent: float, tolerance: float
) -> None:
    found = fio2_with_reservoir(
        minute_volume_l_min=minute_volume, oxygen_l_min=oxygen, purity_percent=purity
    )
    assert 100 * found == pytest.approx(percent, abs=tolerance)


def test_oxygen_mass_alone_is_another_idealisation() -> None:
    # 66.4 % counts no oxygen in the room air (D); the mixing formula must not give that.
    found = fio2_with_reservoir(minute_volume_l_min=7, oxygen_l_min=5, purity_percent=93)
    assert found - 0.664 == pytest.approx(0.21 * 2 / 7, abs=5e-4)


def _inspired_by_sum(volume: float, oxygen: float, purity: float, share: float) -> float:
    """Sum the oxygen drawn in over one inspiration of 1/n minute at constant flow, step by step."""
    steps, inspired, total = 1000, 0.0, 0.0
    flow = volume / share
    for _ in range(steps):
        source = min(oxygen, flow)
        inspired += purity * source + 0.21 * (flow - source)
        total += flow
    return inspired / total


@given(
    volume=st.floats(2, 12), oxygen=st.floats(0, 15), purity=st.floats(50, 100), share=st.floats(15, 70)
)
def test_without_a_reservoir_is_the_balance_of_one_inspiration(
    volume: float, oxygen: float, purity: float, share: float
) -> None:
    found = fio2_without_reservoir(
        minute_volume_l_min=volume, oxygen_l_min=oxygen, purity_percent=purity, inspired_share_percent=share
    )
    assert found == pytest.approx(_inspired_by_sum(volume, oxygen, purity / 100, share / 100), abs=1e-9)
    # Jarvis, Brock-Utne 1991 (P): lower without a reservoir.
    assert found <= 1e-12 + fio2_with_reservoir(
        minute_volume_l_min=volume, oxygen_l_min=oxygen, purity_percent=purity
    )


def test_the_rule_is_chosen_by_what_the_tube_holds() -> None:
    # Q·Te at 15/min, Ti/Ttot 1/3, 4 L/min: 4 × (2/3)/15 = 0.1778 L.
    def rule(reservoir_l: float) -> str:
        return draw_over_mixture(
            minute_volume_l_min=6.0, oxygen_l_min=4.0, purity_percent=93.0, rate_min=15.0,
            inspired_share_percent=100 / 3, reservoir_l=reservoir_l,
        ).rule  # fmt: skip

    assert rule(0.177) == "mixture.no_reservoir"
    assert rule(0.178) == "mixture.reservoir"
    assert rule(0.9) == "mixture.reservoir"


@pytest.mark.parametrize(("fresh_gas", "thumb"), [(1.0, 6.0), (6.0, 36.0)])
def test_rule_of_thumb(fresh_gas: float, thumb: float) -> None:
    # Isoflurane 2 %: 6 and 36 mL/h, Indian J Anaesth 2013;57:455 (P).
    use = agent_use(
        agent="isoflurane", level_percent=2.0, filling_ml=100.0, draw_over=False, fresh_gas_l_min=fresh_gas
    )
    assert use.thumb_ml_h == pytest.approx(thumb)


def test_exact_sevoflurane() -> None:
    # 2 % at 2 L/min, E 183 at 20 °C: 13.11 mL/h (P).
    found = agent_ml_h(agent="sevoflurane", carrier_l_min=2.0, level_percent=2.0)
    assert found == pytest.approx(13.11, abs=0.005)


def test_hours_of_a_filling() -> None:
    # 125 mL isoflurane, 4 L/min, 1.5 %: 18.46 mL/h, 6.77 h (D).
    use = agent_use(
        agent="isoflurane", level_percent=1.5, filling_ml=125.0, draw_over=False, fresh_gas_l_min=4.0
    )
    assert use.exact_ml_h == pytest.approx(18.46, abs=0.005)
    assert use.hours_left == pytest.approx(6.77, abs=0.005)


def test_the_carrier_in_draw_over_is_the_minute_volume() -> None:
    # 1.5 % isoflurane at MV 6: 27.7 mL/h (D).
    use = agent_use(
        agent="isoflurane", level_percent=1.5, filling_ml=100.0, draw_over=True, minute_volume_l_min=6.0,
        fresh_gas_l_min=1.0,
    )  # fmt: skip
    assert use.exact_ml_h == pytest.approx(27.7, abs=0.05)
    assert use.carrier_l_min == 6.0


def test_unknown_agent_is_refused() -> None:
    with pytest.raises(Refused, match="Agent 'ether' is not known; use one of halothane"):
        agent_use(agent="ether", level_percent=1, filling_ml=100, draw_over=False, fresh_gas_l_min=1)
