"""The concentrator's sieve is worn out."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, at, find, never, set_up
from firmware_sim.world.scenario import Scenario

SCENARIO = Scenario(
    name="dry-sieve",
    title="A worn sieve",
    description=(
        "Invented. Damp has got into the sieve; within four hours the concentrator loses six tenths of "
        "its capacity and purity falls below 82, then below 70 %, until somebody takes less flow. "
        "Supply is good all the time."
    ),
    start="2026-09-02T21:00:00",
    duration_s=6 * HOUR,
    seed=14,
    settings={"patient": ADULT, "ventilator": BELLOWS_ADULT, "concentrator": {"wear": 0.2}},
    events=(
        *set_up(),
        at(0.75 * HOUR, "concentrator", "set", wear=0.66, over_s=3.5 * HOUR),
        at(5.2 * HOUR, "concentrator", "set", flow_l_min=2.5),
    ),
    must_find=(
        find("alarm", 2.5 * HOUR, 3.4 * HOUR, condition="purity_low", priority="medium"),
        find("alarm", 3.4 * HOUR, 4.5 * HOUR, condition="purity_very_low", priority="high"),
        find("oxygen", 4.6 * HOUR, 5.1 * HOUR, pct=[58.0, 64.0]),
        find("oxygen", 5.6 * HOUR, 6 * HOUR, pct=[93.0, 96.0]),
        never("alarm", 600, 6 * HOUR, condition="source_stopped"),
    ),
)
