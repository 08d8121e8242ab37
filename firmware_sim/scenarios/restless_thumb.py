"""Somebody pauses the sound every 119 s, twelve times."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, warm
from firmware_sim.world.scenario import Scenario

_APART = 20 * MINUTE
_END = _APART + 26 * MINUTE

SCENARIO = Scenario(
    name="restless-thumb",
    title="A restless thumb",
    description=(
        "Invented, on a test lung. The circuit stays apart for 26 min and somebody presses 'pause "
        "sound' every 119 s, twelve times. Sound must still be heard in every window of 125 s."
    ),
    start="2026-02-23T13:00:00",
    duration_s=1 * HOUR,
    seed=34,
    settings={"patient": ADULT, "ventilator": {**BELLOWS_ADULT, "hanging": 1}},
    initial=warm(),
    events=(
        *attended(),
        at(_APART, "circuit", "disconnect", duration_s=26 * MINUTE),
        *(at(_APART + 30 + 119 * k, "person", "pause") for k in range(12)),
    ),
    must_find=(
        find("alarm", _APART, _APART + 30, condition="disconnected", within_s=14.5, priority="high"),
        find("sound", _APART + 20, _END, every_s=125.0),
    ),
)
