"""Wrong clocks on both sides, across a clock change."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, at, attended, find, warm
from firmware_sim.world.scenario import Scenario

SCENARIO = Scenario(
    name="wrong-date",
    title="Wrong date",
    description=(
        "Invented. The module's clock stands in the year 2000, the laptop's is a day ahead; both are "
        "put right in the middle of a night in which the clocks go back. Events keep their order and "
        "their place."
    ),
    start="2026-10-29T20:00:00",
    zone="Africa/Cairo",
    duration_s=8 * HOUR,
    seed=36,
    settings={"patient": ADULT, "ventilator": BELLOWS_ADULT},
    initial=warm(),
    events=(
        at(0, "board", "set_clock", offset_s=-846_000_000),
        at(0, "host", "set_clock", offset_s=86_400),
        *attended(),
        at(1.0 * HOUR, "mains", "dip", residual_pct=60.0, duration_s=0.5),
        at(3.5 * HOUR, "circuit", "disconnect", duration_s=30.0),
        at(4.0 * HOUR, "host", "set_clock", offset_s=0),
        at(4.0 * HOUR + 20, "board", "set_clock", offset_s=0),
        at(4.5 * HOUR, "circuit", "disconnect", duration_s=30.0),
        at(6.0 * HOUR, "mains", "dip", residual_pct=70.0, duration_s=0.3),
    ),
    must_find=(
        find("order", 0, 8 * HOUR),
        find("supply_event", 1.0 * HOUR, 1.0 * HOUR + 2, tap="in", event="dip", residual_pct=[59, 61]),
        find("supply_event", 6.0 * HOUR, 6.0 * HOUR + 2, tap="in", event="dip", residual_pct=[68.5, 71]),
        find("alarm", 3.5 * HOUR, 3.5 * HOUR + 30, condition="disconnected", within_s=14.5),
        find("alarm", 4.5 * HOUR, 4.5 * HOUR + 30, condition="disconnected", within_s=14.5),
        find("alarm", 0, 600, condition="clock_unset", priority="low"),
    ),
)
