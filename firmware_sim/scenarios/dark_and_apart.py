"""The mains fails, somebody acknowledges, and then the circuit comes apart."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, warm
from firmware_sim.world.scenario import Scenario

_CUT = 30 * MINUTE
_ACKNOWLEDGED = _CUT + 20
_APART = _ACKNOWLEDGED + 90

SCENARIO = Scenario(
    name="dark-and-apart",
    title="Dark and apart",
    description=(
        "Invented. The mains fails, the alarm is acknowledged, and 90 s later, in the dark, the circuit "
        "comes apart for a minute. The acknowledgement of the one must not silence the other."
    ),
    start="2026-02-24T23:00:00",
    duration_s=1 * HOUR,
    seed=35,
    settings={"patient": ADULT, "ventilator": {**BELLOWS_ADULT, "hanging": 1}},
    initial=warm(),
    events=(
        *attended(),
        at(_CUT, "mains", "interruption", duration_s=10 * MINUTE),
        at(_ACKNOWLEDGED, "person", "acknowledge"),
        at(_APART, "circuit", "disconnect", duration_s=60.0),
    ),
    must_find=(
        find("alarm", _CUT, _CUT + 20, condition="stored_energy", priority="medium"),
        find("alarm", _APART, _APART + 60, condition="disconnected", within_s=14.5, priority="high"),
        find("sound", _APART + 15, _APART + 60, every_s=20.0),
    ),
)
