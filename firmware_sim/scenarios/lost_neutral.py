"""A lost neutral: 380 V, then 130 V."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, never, warm
from firmware_sim.world.scenario import Scenario

_LOST = 20 * MINUTE

SCENARIO = Scenario(
    name="lost-neutral",
    title="Lost neutral",
    description=(
        "Invented. The neutral of the feeder opens: the socket goes from 230 to 380 V for 4 min, then, "
        "as the loads change, to 130 V for 6 min. The UPS carries; anything plugged in before it is in "
        "danger."
    ),
    start="2026-02-25T17:00:00",
    duration_s=1 * HOUR,
    seed=37,
    settings={"patient": ADULT, "ventilator": BELLOWS_ADULT},
    initial=warm(),
    events=(
        *attended(),
        at(_LOST, "mains", "set", level_pct=380 / 2.3),
        at(_LOST + 4 * MINUTE, "mains", "set", level_pct=130 / 2.3),
        at(_LOST + 10 * MINUTE, "mains", "set", level_pct=100.0),
    ),
    must_find=(
        find("alarm", _LOST, _LOST + 10, condition="supply_dangerous", within_s=5.0, priority="high"),
        find("supply_event", _LOST, _LOST + 4 * MINUTE + 2, tap="in", event="swell", residual_pct=[162, 169]),
        find("supply_event", _LOST + 4 * MINUTE, _LOST + 10 * MINUTE + 2, tap="in", event="dip",
             residual_pct=[53, 59]),
        find("supply_state", _LOST, _LOST + 10 * MINUTE, state="stored_energy", at_least_share=0.9),
        never("supply_event", 60, HOUR, tap="out"),
    ),
)  # fmt: skip
