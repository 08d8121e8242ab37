"""The UPS's input breaker is open although the tap before it is live."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, never, warm
from firmware_sim.world.scenario import Scenario

_OPEN = 30 * MINUTE
_DIES = _OPEN + 18 * MINUTE

SCENARIO = Scenario(
    name="breaker-behind-tap",
    title="Breaker behind the tap",
    description=(
        "Invented. The mains is fine, but the UPS's input breaker has tripped behind the tap. The "
        "inverter runs on its own crystal, its phase slips, and after 18 min the output dies."
    ),
    start="2026-02-11T14:00:00",
    duration_s=1.5 * HOUR,
    seed=22,
    settings={"patient": ADULT, "ventilator": BELLOWS_ADULT, "ups": {"base_load_w": 101.0}},
    initial=warm(),
    events=(
        *attended(),
        at(_OPEN, "ups", "open_breaker"),
        at(75 * MINUTE, "ups", "close_breaker"),
    ),
    must_find=(
        never("supply_state", _OPEN + 2 * MINUTE, _DIES, state="normal"),
        find("alarm", _DIES - 60, _DIES + 60, condition="output_lost", priority="high"),
        never("supply_event", 60, 75 * MINUTE, tap="in"),
    ),
)
