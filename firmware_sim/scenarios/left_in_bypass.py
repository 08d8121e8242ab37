"""Nobody switched the UPS to normal."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, find, never, set_up
from firmware_sim.world.scenario import Scenario

SCENARIO = Scenario(
    name="left-in-bypass",
    title="Left in bypass",
    description=(
        "Invented. The UPS started in bypass and nobody switched it to normal. The mains is good for an "
        "hour, then restless; a cut of 6 min puts everything out at once, although a full battery "
        "stands by."
    ),
    start="2026-05-13T20:00:00",
    duration_s=3 * HOUR,
    seed=13,
    settings={"patient": ADULT, "ventilator": BELLOWS_ADULT},
    events=(
        *(event for event in set_up() if event.actor != "ups"),
        at(70 * MINUTE, "mains", "dip", residual_pct=64.0, duration_s=0.3),
        at(75 * MINUTE, "mains", "dip", residual_pct=82.0, duration_s=0.5),
        at(95 * MINUTE, "mains", "interruption", duration_s=360.0),
        at(140 * MINUTE, "ups", "switch_to_normal"),
    ),
    must_find=(
        find("supply_state", 60, 95 * MINUTE, state="bypass", within_s=60.0, at_least_share=0.95),
        find("alarm", 0, 20 * MINUTE, condition="bypass", within_s=120.0, priority="low"),
        find("supply_event", 70 * MINUTE, 70 * MINUTE + 2, tap="out", event="dip", residual_pct=[63, 66]),
        find("supply_event", 95 * MINUTE, 101 * MINUTE + 5, tap="out", event="interruption"),
        find("alarm", 95 * MINUTE, 101 * MINUTE, condition="output_lost", within_s=5.0, priority="high"),
        find("supply_state", 141 * MINUTE, 180 * MINUTE, state="normal", within_s=660.0),
        never("supply_state", 60, 95 * MINUTE, state="stored_energy"),
    ),
)
