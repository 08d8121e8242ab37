"""The reserve cylinder takes over and also drives the bellows."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, never, warm
from firmware_sim.world.scenario import Scenario

_STOP = 20 * MINUTE

SCENARIO = Scenario(
    name="cylinder-takeover",
    title="The cylinder takes over",
    description=(
        "Invented. The concentrator stops and the automatic valve opens a cylinder of 340 L. Oxygen "
        "steps from 93 to 99.5 %, which is no fault. It gives 2 L/min of oxygen and drives the bellows "
        "with 6 more: 42 min, not three hours. Somebody told the module of the cylinder beforehand, so that "
        "it counts down from the moment at which the reading is a cylinder's."
    ),
    start="2026-02-15T22:00:00",
    duration_s=1.75 * HOUR,
    seed=26,
    fitted=("product_pressure",),
    settings={
        "patient": ADULT,
        "ventilator": {**BELLOWS_ADULT, "rate_min": 11.0, "tidal_ml": 500.0},
        "concentrator": {"wear": 0.39},
        "cylinder": {"valve": 2, "flow_l_min": 2.0, "bleed_l_min": 0.5},
    },
    initial={**warm(), "site_ppm": 932_000.0},
    events=(
        *attended(),
        at(5 * MINUTE, "person", "tell_cylinder", litres=340.0, l_min=8.5),
        at(_STOP, "concentrator", "off"),
        at(_STOP + 46 * MINUTE, "ventilator", "hand"),
        at(_STOP + 46 * MINUTE + 10, "person", "set_mode", mode="hand"),
        at(_STOP + 60 * MINUTE, "concentrator", "on"),
        at(_STOP + 62 * MINUTE, "ventilator", "start"),
        at(_STOP + 62 * MINUTE + 10, "person", "set_mode", mode="ventilator"),
    ),
    must_find=(
        find("oxygen", _STOP - 5 * MINUTE, _STOP, pct=[92.0, 94.5]),
        find("oxygen", _STOP + 5 * MINUTE, _STOP + 40 * MINUTE, pct=[98.5, 100.0]),
        find("alarm", _STOP, _STOP + 5 * MINUTE, condition="cylinder_in_use", priority="low"),
        # 340 L at 2 + 6 + 0.5 L/min last 40 min: below 30 min after 10 min, and it takes a minute to be seen.
        never("alarm", 0.0, _STOP + 10 * MINUTE, condition="cylinder_short"),
        find("alarm", _STOP + 10 * MINUTE, _STOP + 13 * MINUTE, condition="cylinder_short"),
        never("alarm", _STOP, _STOP + 40 * MINUTE, condition="oxygen_sensor_fault"),
        find("alarm", _STOP + 38 * MINUTE, _STOP + 47 * MINUTE, condition="disconnected"),
    ),
)
