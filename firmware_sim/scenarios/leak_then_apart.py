"""A leak grows; then the circuit lies against a pillow; then the tube is out."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, warm
from firmware_sim.world.scenario import Scenario

_LEAK = 20 * MINUTE
_PILLOW = 75 * MINUTE
_TUBE = 95 * MINUTE

SCENARIO = Scenario(
    name="leak-then-apart",
    title="A leak, then apart",
    description=(
        "Invented. A cuff leaks more and more: peak pressure falls from 22 to 14 cmH2O in 40 min. "
        "Mended; then the open tube lies against a pillow and keeps 8 cmH2O; then the tube comes out of "
        "the patient, hangs on the circuit and keeps 7. Three different findings."
    ),
    start="2026-02-17T04:00:00",
    duration_s=2 * HOUR,
    seed=28,
    settings={
        "patient": {**ADULT, "compliance_ml_cmh2o": 38.0},
        "ventilator": {**BELLOWS_ADULT, "hanging": 1},
    },
    initial=warm(),
    events=(
        *attended(),
        at(_LEAK, "circuit", "leak", ml_s_cmh2o=0.01),
        at(_LEAK + 1, "circuit", "set", leak_ml_s_cmh2o=12.0, over_s=40 * MINUTE),
        at(_LEAK + 50 * MINUTE, "circuit", "seal"),
        at(_PILLOW, "circuit", "disconnect", open_r=20.0, duration_s=60.0),
        at(_TUBE, "circuit", "extubate", open_r=17.5, duration_s=75.0),
    ),
    must_find=(
        find("pressure", _LEAK - 5 * MINUTE, _LEAK, peak_cmh2o=[21.0, 23.0]),
        find("pressure", _LEAK + 42 * MINUTE, _LEAK + 49 * MINUTE, peak_cmh2o=[13.0, 15.0]),
        find("alarm", _LEAK + 10 * MINUTE, _LEAK + 50 * MINUTE, condition="pressure_low"),
        find("alarm", _PILLOW, _PILLOW + 60, condition="disconnected", within_s=14.5, priority="high"),
        find("alarm", _TUBE, _TUBE + 75, condition="disconnected", within_s=14.5, priority="high"),
    ),
)
