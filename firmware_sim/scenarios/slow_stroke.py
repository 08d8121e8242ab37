"""Four strokes a minute, then one is missing."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, never, warm
from firmware_sim.world.scenario import Scenario

_MISS = 60 * MINUTE

SCENARIO = Scenario(
    name="slow-stroke",
    title="Slow strokes",
    description=(
        "Invented. A test lung at four strokes a minute, give or take 5 %: fixed apnoea times cry wolf "
        "here. After an hour one stroke is missing, which must be found."
    ),
    start="2026-02-18T11:00:00",
    duration_s=1.5 * HOUR,
    seed=29,
    settings={
        "patient": ADULT,
        "ventilator": {
            **BELLOWS_ADULT,
            "rate_min": 4.0,
            "tidal_ml": 700.0,
            "ti_s": 2.0,
            "rate_spread_pct": 2.0,
        },
    },
    initial=warm(),
    events=(
        *attended(),
        at(150, "person", "confirm_limits"),
        at(_MISS, "ventilator", "miss_stroke", count=1),
    ),
    must_find=(
        never("alarm", 5 * MINUTE, _MISS, condition="disconnected"),
        never("alarm", 5 * MINUTE, _MISS, condition="no_breath"),
        find("alarm", _MISS, _MISS + 40, condition="disconnected", priority="high"),
        find("breaths", 5 * MINUTE, _MISS, count=[217, 223], kind="ventilator"),
    ),
)
