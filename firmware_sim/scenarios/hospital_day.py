"""A day drawn from the published statistics of hospitals."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, at, find, set_up
from firmware_sim.world.scenario import Scenario

SCENARIO = Scenario(
    name="hospital-day",
    title="A day by statistics",
    description=(
        "Invented: drawn from the published statistics of 25 hospitals (0.67 outages a day, median 2.01 "
        "h, within 10 % of nominal for 73.9 % of the time). Another seed gives another day. The "
        "automatic cylinder valve is in."
    ),
    start="2026-05-04T07:00:00",
    duration_s=12 * HOUR,
    seed=117,
    statistics="hospital",
    settings={"patient": ADULT, "ventilator": BELLOWS_ADULT, "cylinder": {"valve": 2, "water_l": 9.3}},
    events=(*set_up(), at(6 * HOUR, "ups", "switch_to_normal"), at(9 * HOUR, "ups", "switch_to_normal")),
    must_find=(find("order", 0, 12 * HOUR),),
)
