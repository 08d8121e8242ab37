"""The module resets in the middle of a case."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, never, warm
from firmware_sim.world.scenario import Scenario

_RESET = 30 * MINUTE
_SHORT = 50 * MINUTE
_LONG = 70 * MINUTE

SCENARIO = Scenario(
    name="reset-mid-case",
    title="A reset in mid case",
    description=(
        "Invented. The module resets, later loses power for 12 s, later for 45 s, once while the "
        "circuit is apart. It must come back armed, with mode and limits; after the long cut they must "
        "be confirmed."
    ),
    start="2026-02-28T05:00:00",
    duration_s=2 * HOUR,
    seed=40,
    settings={"patient": ADULT, "ventilator": {**BELLOWS_ADULT, "hanging": 1}},
    initial=warm(),
    events=(
        *attended(),
        at(_RESET, "board", "reset"),
        at(_SHORT - 5, "circuit", "disconnect", duration_s=60.0),
        at(_SHORT, "board", "power_cut", duration_s=12.0),
        at(_LONG, "board", "power_cut", duration_s=45.0),
        at(_LONG + 15 * MINUTE, "person", "confirm_limits"),
        at(_LONG + 30 * MINUTE, "circuit", "disconnect", duration_s=30.0),
    ),
    must_find=(
        find("setting", _RESET + 5, _RESET + 60, name="mode", value="ventilator"),
        find("alarm", _SHORT + 12, _SHORT + 55, condition="disconnected", priority="high"),
        never("setting", _SHORT + 12, _LONG, name="limits_unconfirmed", value=1),
        find("setting", _LONG + 50, _LONG + 15 * MINUTE, name="limits_unconfirmed", value=1),
        find("alarm", _LONG + 30 * MINUTE, _LONG + 30 * MINUTE + 30, condition="disconnected", within_s=14.5),
    ),
)
