"""Values read off and typed: bounds, units, and what else says the same."""

from types import SimpleNamespace as Mark

import pytest

from ingest.analysis.hand import ENTRIES, by_entry, hand_entry, hand_points
from ingest.analysis.mark_kinds import notes
from ingest.analysis.refusal import Refused
from ingest.analysis.reserves.entries import agent_entry, bag_entry, cylinder_entry, flow_entry


def mark(kind, data, utc=0, author="AB"):
    return Mark(kind=kind, data=data, utc=utc, author=author)


def test_a_value_is_kept_in_its_unit_and_as_it_was_typed():
    # 1 psi = 4.4482216152605 N / (0.0254 m)^2 (definition).
    assert hand_entry("gauge", "2000", "psi") == {
        "what": "gauge", "value": 137.8951, "unit": "bar", "typed": "2000", "typed_unit": "psi"}  # fmt: skip
    assert hand_entry("gauge", "13700", "kPa")["value"] == 137.0
    assert hand_entry("spo2", "94,5")["value"] == 94.5


@pytest.mark.parametrize(
    ("what", "value", "unit", "sentence"),
    [
        ("gauge", "137", None, "unit  is not known here; use one of"),
        ("gauge", "137", "L", "unit L is not known"),
        ("gauge", "4000", "bar", "outside 0 to 300 bar"),
        ("spo2", "101", None, "outside 0 to 100 %"),
        ("pulse", "-1", None, "is negative"),
        ("pulse", "351", None, "outside 0 to 350 /min"),
        ("agent_level", "11", None, "outside 0 to 10 %"),
        ("agent_left", "1001", None, "outside 0 to 1000 mL"),
        ("oxygen_flow", "nan", None, "is not a number"),
    ],
)
def test_what_makes_no_sense_is_refused(what, value, unit, sentence):
    with pytest.raises(Refused, match=sentence):
        hand_entry(what, value, unit)


def test_entries_for_the_reserves_are_points_too_and_none_is_a_note():
    cylinder = cylinder_entry(size="UK D", water_l="", gauge="100", unit="bar")
    flow = flow_entry(oxygen="2", minute_volume="5", bleed="1")
    vapour = agent_entry(agent="isoflurane", level="1.5", filling="100", carrier="6", draw_over=True)
    marks = [
        mark("reserve", vapour, 4), mark("reserve", flow, 3), mark("reserve", cylinder, 2),
        mark("reserve", bag_entry(), 1), mark("hand", hand_entry("spo2", "94"), 0), mark("suction", {}, 5),
        mark("hand", {"what": "spo2", "value": "94"}, 6), mark("hand", {"what": "mood", "value": 1}, 7),
    ]  # fmt: skip
    points = hand_points(marks)
    assert [(one.what, one.at_ms, one.text) for one in points] == [
        ("spo2", 0, "94 %"), ("gauge", 2, "100 bar"), ("oxygen_flow", 3, "2.0 L/min"),
        ("agent_left", 4, "100 mL"), ("agent_level", 4, "1.5 %"),
    ]  # fmt: skip
    assert list(by_entry(points)) == [name for name in ENTRIES if name != "pulse"]
    assert notes(marks) == [marks[5]]
