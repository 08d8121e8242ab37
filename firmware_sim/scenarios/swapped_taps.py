"""The two supply taps are swapped."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, never, warm
from firmware_sim.world.scenario import Scenario

_CUT = 30 * MINUTE

SCENARIO = Scenario(
    name="swapped-taps",
    title="Swapped taps",
    description=(
        "Invented. Somebody wired the tap before the UPS to the output and the other way round. When "
        "the mains fails for 5 min the module sees its output tap die and its input tap live."
    ),
    start="2026-02-26T10:00:00",
    duration_s=1 * HOUR,
    seed=38,
    settings={"patient": ADULT, "ventilator": BELLOWS_ADULT},
    initial={**warm(), "taps_swapped": 1.0},
    events=(
        *attended(),
        at(_CUT - 600, "mains", "dip", residual_pct=70.0, duration_s=0.5),
        at(_CUT, "mains", "interruption", duration_s=5 * MINUTE),
    ),
    must_find=(
        find("supply_event", _CUT - 600, _CUT - 598, tap="out", event="dip", residual_pct=[68, 72]),
        find("supply_event", _CUT, _CUT + 5 * MINUTE + 2, tap="out", event="interruption"),
        find("note", _CUT, _CUT + 5 * MINUTE, text_key="taps_swapped"),
        never("supply_state", _CUT + 5, _CUT + 5 * MINUTE, state="normal"),
    ),
)
