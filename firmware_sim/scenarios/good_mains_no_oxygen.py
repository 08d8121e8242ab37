"""A surge that nobody saw trips the concentrator."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, MINUTE, at, attended, find, never, warm
from firmware_sim.world.scenario import Scenario

_TRIP = 20 * MINUTE

SCENARIO = Scenario(
    name="good-mains-no-oxygen",
    title="Good mains, no oxygen",
    description=(
        "Invented. A surge of microseconds, which 3.2 kS/s can't see, trips the concentrator. The gas "
        "at the cell stands still and goes on reading 93 %. A hand bags after the bellows stop; "
        "somebody resets the concentrator 15 min later."
    ),
    start="2026-02-14T15:00:00",
    duration_s=60 * MINUTE,
    seed=25,
    fitted=("product_pressure",),
    settings={"patient": ADULT, "ventilator": BELLOWS_ADULT, "concentrator": {"wear": 0.39}},
    initial={**warm(), "site_ppm": 932_000.0},
    events=(
        *attended(),
        at(_TRIP, "mains", "surge", peak_v=5_200),
        at(_TRIP + 50, "ventilator", "hand"),
        at(_TRIP + 60, "person", "set_mode", mode="hand"),
        at(_TRIP + 15 * MINUTE, "concentrator", "reset"),
        at(_TRIP + 16 * MINUTE, "ventilator", "start"),
        at(_TRIP + 16 * MINUTE + 20, "person", "set_mode", mode="ventilator"),
    ),
    must_find=(
        find("alarm", _TRIP, _TRIP + 3 * MINUTE, condition="source_stopped", priority="medium"),
        find("oxygen", _TRIP + 60, _TRIP + 6 * MINUTE, pct=[91.5, 93.9]),
        find("oxygen_state", _TRIP + 2 * MINUTE, _TRIP + 14 * MINUTE, state="not_current"),
        never("supply_event", 60, 60 * MINUTE),
    ),
)
