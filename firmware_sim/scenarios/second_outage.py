"""The UPS is empty after the first outage and comes back in bypass: the second one hits at once."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, warm
from firmware_sim.world.scenario import Scenario

_FIRST = 20 * MINUTE
_BACK = _FIRST + 18 * MINUTE
_SECOND = _BACK + 25 * MINUTE
_JANUARY = 20_473  # 2026-01-20, in days since 1970-01-01

SCENARIO = Scenario(
    name="second-outage",
    title="The second outage",
    description=(
        "Invented. An aged battery carries the first outage for about 16 of its 18 min. When the mains "
        "is back the UPS stands in bypass and nobody notices. 25 min later the next cut takes the "
        "output away at once."
    ),
    start="2026-02-13T03:00:00",
    duration_s=1.5 * HOUR,
    seed=24,
    settings={"patient": ADULT, "ventilator": BELLOWS_ADULT, "ups": {"health": 0.85}},
    initial=warm(),
    events=(
        *attended(),
        # The discharge test of January gave 15 min.
        at(4, "person", "set_setting", name="battery.proven_minutes", value=15),
        at(5, "person", "set_setting", name="battery.proven_day", value=_JANUARY),
        at(_FIRST, "mains", "interruption", duration_s=18 * MINUTE),
        at(_SECOND, "mains", "interruption", duration_s=5 * MINUTE),
        at(_SECOND + 10 * MINUTE, "ups", "switch_to_normal"),
    ),
    must_find=(
        find("alarm", _FIRST, _FIRST + 60, condition="stored_energy", priority="medium"),
        find("alarm", _FIRST + 8 * MINUTE, _BACK, condition="battery_very_short", priority="high"),
        find("alarm", _FIRST + 13 * MINUTE, _BACK, condition="output_lost", priority="high"),
        find("supply_state", _BACK + 60, _SECOND, state="bypass", within_s=60.0),
        find("note", _BACK + 60, _SECOND, text_key="next_cut_unprotected"),
        find("alarm", _SECOND, _SECOND + 30, condition="output_lost", within_s=5.0, priority="high"),
    ),
)
