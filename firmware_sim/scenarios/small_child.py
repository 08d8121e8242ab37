"""A small child with the adult preset left on."""

from firmware_sim.scenarios._parts import CHILD, HOUR, MINUTE, at, attended, find, warm
from firmware_sim.world.scenario import Scenario

_APART = 40 * MINUTE

SCENARIO = Scenario(
    name="small-child",
    title="A small child",
    description=(
        "Invented. A child: peak 12, end-expiratory 3 cmH2O, 28 a minute. The sensor's zero has drifted "
        "by -1.5 cmH2O and the adult preset of the last case was left on. When the circuit comes apart "
        "the alarm must still come within 10 s and a breath."
    ),
    start="2026-02-20T20:00:00",
    duration_s=1 * HOUR,
    seed=31,
    settings={
        "patient": CHILD,
        "ventilator": {
            "source": 1, "rate_min": 28.0, "tidal_ml": 70.0, "ti_s": 0.7, "peep_cmh2o": 3.0,
            "limit_cmh2o": 30.0, "rate_spread_pct": 0.3, "stroke_spread_pct": 0.6,
        },
    },
    initial=warm(),
    events=(
        at(1, "board", "offset", channel="pressure", value=-1.5),
        *attended(preset="adult"),
        at(_APART, "circuit", "disconnect", duration_s=40.0),
    ),
    must_find=(
        find("alarm", 60, 10 * MINUTE, condition="preset_doubtful", priority="low"),
        find("alarm", _APART, _APART + 40, condition="disconnected", within_s=12.5, priority="high"),
        find("breaths", 5 * MINUTE, _APART, count=[970, 990], kind="ventilator"),
    ),
)  # fmt: skip
