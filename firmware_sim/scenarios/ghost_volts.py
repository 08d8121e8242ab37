"""A dead line floats at 40 V."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, never, warm
from firmware_sim.world.scenario import Scenario

_CUT = 20 * MINUTE

SCENARIO = Scenario(
    name="ghost-volts",
    title="Ghost volts",
    description=(
        "Invented. The line is dead for 12 min, but the high-impedance tap floats at 40 V: above any "
        "interruption threshold of 5 or 10 %, and useless all the same. The alarms go by the UPS's "
        "window."
    ),
    start="2026-03-01T12:00:00",
    duration_s=1 * HOUR,
    seed=41,
    settings={"patient": ADULT, "ventilator": BELLOWS_ADULT},
    initial=warm(),
    events=(
        *attended(),
        at(_CUT, "mains", "interruption", residual_pct=40 / 2.3, duration_s=12 * MINUTE),
    ),
    must_find=(
        find("alarm", _CUT, _CUT + 20, condition="supply_below_window"),
        find("supply_state", _CUT, _CUT + 12 * MINUTE, state="stored_energy", at_least_share=0.9),
        never("supply_state", _CUT + 5, _CUT + 12 * MINUTE, state="normal"),
        find("supply_event", _CUT, _CUT + 12 * MINUTE + 2, tap="in", event="dip", residual_pct=[16.5, 18.2]),
    ),
)
