"""Exposure totals: sums done by hand, nothing counted that wasn't seen."""

import numpy as np
import pytest

from ingest.analysis.breathing.model import breath_table
from ingest.analysis.exposure import Entered, by_hand, exposure_totals

HOUR = 3_600_000


def _totals(**changes):
    trend_ms = np.arange(0, HOUR, 1000, dtype=np.int64)
    purity = np.full(trend_ms.size, 93.0)
    purity[600:1200] = 80.0  # ten minutes, 2 % under 82
    purity[1200:1800] = np.nan  # ten minutes not current
    rows = [[4000 * i, 1.0, 3.0, 41.0 if i < 15 else 20.0, np.nan, 5.0, 7.0, 5.0] for i in range(450)]
    given = {
        "start_ms": 0, "end_ms": HOUR, "trend_ms": trend_ms, "source_purity_percent": purity,
        "breaths": breath_table(rows), "states": {"stored_energy": [(HOUR - 60_000, 2 * HOUR)]},
    }  # fmt: skip
    return exposure_totals(**(given | changes))


def test_purity_pressure_and_states() -> None:
    found = _totals()
    assert found.purity_under_min == {85.0: pytest.approx(10.0), 82.0: pytest.approx(10.0), 70.0: 0.0}
    assert found.purity_judged_min == pytest.approx(50.0)
    assert found.deficit_percent_min == pytest.approx(20.0)
    assert found.peak_over_min == pytest.approx({30.0: 1.0, 35.0: 1.0, 40.0: 1.0})
    assert found.breaths_judged_min == pytest.approx(30.0)
    assert found.states_min == {"stored_energy": 1.0}
    assert found.oxygen_l is None and found.agent_ml is None and found.entry_held_h is None


def test_a_gap_in_the_trend_is_not_stretched() -> None:
    trend_ms = np.array([0, 1000, 1_000_000], dtype=np.int64)
    found = _totals(trend_ms=trend_ms, source_purity_percent=np.full(3, 60.0))
    assert found.purity_judged_min == pytest.approx((1 + 5 + 5) / 60)


def test_entered_oxygen_flow_is_summed_between_entries() -> None:
    entries = [Entered(at_ms=-1000, value=2.0), Entered(at_ms=HOUR // 2, value=5.0)]
    found = _totals(oxygen_flow=entries)
    assert found.oxygen_l == pytest.approx(30 * 2.0 + 30 * 5.0)
    assert found.entry_held_h == pytest.approx(0.5)


def test_agent_follows_level_and_carrier() -> None:
    # 1.5 % isoflurane at MV 6 in draw-over is 27.69 mL/h (D); half an hour of it, then off.
    found = _totals(
        agent="isoflurane", carrier_l_min=[Entered(at_ms=0, value=6.0)],
        agent_level=[Entered(at_ms=0, value=1.5), Entered(at_ms=HOUR // 2, value=0.0)],
    )  # fmt: skip
    assert found.agent_ml == pytest.approx(27.69 / 2, abs=0.005)


class _Mark:
    def __init__(self, utc, kind, author="AB", **data):
        self.utc, self.kind, self.author, self.data = utc, kind, author, data


def test_what_was_entered_by_hand_is_what_is_summed() -> None:
    """Worked out: 2 L/min for half an hour, then 5: 60 + 150 L, from either page's entries."""
    marks = [
        _Mark(0, "reserve", what="flow", oxygen_l_min=2.0),
        _Mark(HOUR // 2, "hand", what="oxygen_flow", value=5.0, unit="L/min"),
        _Mark(1000, "note"),
    ]
    assert _totals(oxygen_flow=by_hand(marks).oxygen_flow).oxygen_l == pytest.approx(60 + 150)
    filled = {"what": "agent", "level_percent": 1.5, "filling_ml": 100.0, "carrier_l_min": 6.0}
    one = by_hand([_Mark(0, "reserve", agent="isoflurane", **filled)])
    used = _totals(agent=one.agent, agent_level=one.agent_level, carrier_l_min=one.carrier_l_min)
    # 1.5 % isoflurane at a minute volume of 6 L/min is 27.7 mL/h (worked out from the published formula).
    assert used.agent_ml == pytest.approx(27.69, abs=0.01)
    names = ("isoflurane", "halothane")
    two = by_hand([_Mark(i, "reserve", agent=name, **filled) for i, name in enumerate(names)])
    assert two.agent is None
