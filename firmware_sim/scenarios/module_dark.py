"""The module itself is dark for 47 minutes."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, warm
from firmware_sim.world.scenario import Scenario

_PULLED = 1 * HOUR
_CELL_S = 2_400 * 0.16 / 520 * HOUR
_BACK = _PULLED + _CELL_S + 47 * MINUTE

SCENARIO = Scenario(
    name="module-dark",
    title="The module is dark",
    description=(
        "Invented. Somebody needs the socket and pulls the module's adapter; its cell, badly charged, "
        "lasts three quarters of an hour, then nobody watches for 47 min. In that time the mains is out "
        "for 4 min and the circuit is apart for 20 s: nobody can know."
    ),
    start="2026-02-27T22:00:00",
    duration_s=4 * HOUR,
    seed=39,
    settings={"patient": ADULT, "ventilator": BELLOWS_ADULT, "module": {"charge_ma": 0.0}},
    initial={**warm(), "cell_share": 0.16},
    events=(
        *attended(),
        at(_PULLED, "module", "pull_adapter"),
        at(_PULLED + _CELL_S + 12 * MINUTE, "mains", "interruption", duration_s=4 * MINUTE),
        at(_PULLED + _CELL_S + 30 * MINUTE, "circuit", "disconnect", duration_s=20.0),
        at(_BACK, "module", "plug_adapter"),
        at(_BACK + 5 * MINUTE, "person", "confirm_limits"),
    ),
    must_find=(
        find("alarm", _PULLED, _PULLED + _CELL_S, condition="rail_low", priority="medium"),
        find("unmonitored", _PULLED + _CELL_S, _BACK, 60.0, minutes=[46.0, 48.5]),
        find("gap", _PULLED + _CELL_S, _BACK, 10.0, reason="module_off"),
        find("setting", _BACK, _BACK + 5 * MINUTE, name="limits_unconfirmed", value=1),
    ),
)
