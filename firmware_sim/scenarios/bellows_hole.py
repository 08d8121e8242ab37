"""A hole in the bellows lets drive gas in."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, never, warm
from firmware_sim.world.scenario import Scenario

_HOLE = 30 * MINUTE

SCENARIO = Scenario(
    name="bellows-hole",
    title="A hole in the bellows",
    description=(
        "Invented. The bellows tear: drive gas enters, each stroke delivers three tenths more and the "
        "peak rises from 19 to 24 cmH2O at unchanged settings. Somebody changes the bellows after 25 "
        "min."
    ),
    start="2026-02-22T06:00:00",
    duration_s=1.25 * HOUR,
    seed=33,
    settings={"patient": ADULT, "ventilator": BELLOWS_ADULT},
    initial=warm(),
    events=(
        *attended(),
        at(_HOLE, "ventilator", "tear_bellows", hole=0.3),
        at(_HOLE + 25 * MINUTE, "ventilator", "mend_bellows"),
    ),
    must_find=(
        find("pressure", _HOLE - 5 * MINUTE, _HOLE, peak_cmh2o=[18.3, 19.7]),
        find("pressure", _HOLE + 60, _HOLE + 24 * MINUTE, peak_cmh2o=[22.8, 24.5]),
        never("alarm", 5 * MINUTE, _HOLE, priority="high"),
    ),
)
