"""The mains is so good that before and after the UPS look alike."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, never, warm
from firmware_sim.world.scenario import Scenario

_Q = 30 * MINUTE

SCENARIO = Scenario(
    name="nominal-twins",
    title="Nominal twins",
    description=(
        "Invented. 229.8 to 230.2 V at the input, 230 V at the output. Four half hours: distorted mains "
        "(3 %) in bypass and in normal mode, then clean mains (0.2 %) in bypass and in normal mode with "
        "an equally clean inverter. What can't be told must be called undetermined, never normal."
    ),
    start="2026-02-10T01:00:00",
    duration_s=2 * HOUR,
    seed=21,
    settings={
        "patient": ADULT,
        "ventilator": BELLOWS_ADULT,
        "mains": {"drift_pct": 0.0, "sway_pct": 0.04, "wobble_pct": 0.015, "wander_hz": 0.004},
        "ups": {"output_thd_pct": 0.25, "bypass_drop_pct": 0.02, "crystal_ppm": 5.0},
    },
    initial={**warm(), "ups_normal": 0.0},
    events=(
        *attended(),
        at(_Q, "ups", "switch_to_normal"),
        at(2 * _Q, "mains", "set", thd_pct=0.2),
        at(2 * _Q, "ups", "switch_to_bypass"),
        at(3 * _Q, "ups", "switch_to_normal"),
    ),
    must_find=(
        find("supply_state", 0, _Q, state="bypass", within_s=60.0, at_least_share=0.9),
        find("supply_state", _Q, 2 * _Q, state="normal", within_s=120.0, at_least_share=0.9),
        never("supply_state", 60, _Q, state="normal"),
        never("supply_state", 2 * _Q + 60, 3 * _Q, state="normal"),
        never("supply_state", 3 * _Q + 60, 4 * _Q, state="bypass"),
    ),
)
