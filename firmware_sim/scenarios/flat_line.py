"""A blocked sensor tube and true apnoea look the same."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, warm
from firmware_sim.world.scenario import Scenario

_BLOCKED = 20 * MINUTE
_APNOEA = 45 * MINUTE

SCENARIO = Scenario(
    name="flat-line",
    title="Flat line",
    description=(
        "Invented. First water blocks the sensor's tube and the reading stands at 6.2 cmH2O while the "
        "lungs are ventilated; later the bellows miss twelve strokes on an end-expiratory pressure of "
        "6. Both look flat, both must ring with high priority."
    ),
    start="2026-02-21T01:00:00",
    duration_s=1.25 * HOUR,
    seed=32,
    settings={"patient": ADULT, "ventilator": {**BELLOWS_ADULT, "peep_cmh2o": 6.0}},
    initial=warm(),
    events=(
        *attended(),
        at(_BLOCKED, "circuit", "block_line", at_cmh2o=6.2, duration_s=300.0),
        at(_APNOEA, "ventilator", "miss_stroke", count=12),
    ),
    must_find=(
        find("alarm", _BLOCKED, _BLOCKED + 60, condition="no_breath", within_s=25.0, priority="high"),
        find("alarm", _APNOEA, _APNOEA + 50, condition="no_breath", within_s=30.0, priority="high"),
        find("pressure", _BLOCKED + 10, _BLOCKED + 290, rest_cmh2o=[5.9, 6.5]),
    ),
)
