"""Mains, battery, laptop and module go dark one after the other."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, find, set_up
from firmware_sim.world.scenario import Scenario

_CUT = 1 * HOUR
_LENGTH = 2.6 * HOUR

SCENARIO = Scenario(
    name="everything-dark",
    title="Everything dark",
    description=(
        "Invented. The mains is out for more than two and a half hours. The UPS is empty after about 20 "
        "min, the cylinder drives the bellows until it is empty too, a hand takes over. The laptop is "
        "off for two hours; the module's weak cell ends meanwhile, and what it held for the laptop is lost "
        "with it: 131 min of trends. Its flash still has the log."
    ),
    start="2026-08-09T23:00:00",
    duration_s=6 * HOUR,
    seed=18,
    settings={"patient": ADULT, "ventilator": BELLOWS_ADULT, "cylinder": {"valve": 2}},
    initial={"cell_share": 0.28},
    events=(
        *set_up(),
        at(10, "module", "set", charge_ma=0.0),
        at(_CUT, "mains", "interruption", duration_s=_LENGTH),
        at(_CUT + 25 * MINUTE, "host", "off", duration_s=2 * HOUR),
        at(_CUT + 60 * MINUTE, "ventilator", "hand"),
        at(_CUT + 60 * MINUTE + 5, "person", "set_mode", mode="hand"),
        at(_CUT + _LENGTH + 3 * MINUTE, "ventilator", "start"),
        at(_CUT + _LENGTH + 4 * MINUTE, "person", "set_mode", mode="ventilator"),
        at(_CUT + _LENGTH + 5 * MINUTE, "person", "confirm_limits"),
        at(_CUT + _LENGTH + 30 * MINUTE, "ups", "switch_to_normal"),
    ),
    must_find=(
        find("alarm", _CUT, _CUT + 60, condition="stored_energy", priority="medium"),
        find("alarm", _CUT + 15 * MINUTE, _CUT + 30 * MINUTE, condition="output_lost", priority="high"),
        find("unmonitored", _CUT, _CUT + _LENGTH + 60, 60.0, minutes=[129.0, 134.0]),
        find("gap", _CUT, _CUT + _LENGTH + 60, reason="module_off"),
        find("setting", _CUT + _LENGTH, _CUT + _LENGTH + 4 * MINUTE, name="limits_unconfirmed", value=1),
        find("supply_state", _CUT + _LENGTH + 2 * MINUTE, _CUT + _LENGTH + 29 * MINUTE, state="bypass"),
    ),
)
