"""The circuit comes apart, three times, in three ways."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, find, set_up
from firmware_sim.world.scenario import Scenario

SCENARIO = Scenario(
    name="circuit-apart",
    title="Circuit apart",
    description=(
        "Invented. Two hours of one adult on hanging bellows that go on moving when the circuit comes "
        "apart: once for 35 s at the tee, once for 8 s (shorter than any delay), once against bed "
        "linen."
    ),
    start="2026-05-12T02:00:00",
    duration_s=2 * HOUR,
    seed=12,
    settings={"patient": ADULT, "ventilator": {**BELLOWS_ADULT, "hanging": 1}},
    initial={"bed": 1.0, "site_ppm": 945_000.0, "ups_normal": 1.0},
    events=(
        *set_up(),
        at(30 * MINUTE, "circuit", "disconnect", duration_s=35.0),
        at(60 * MINUTE, "circuit", "disconnect", duration_s=8.0),
        at(90 * MINUTE, "circuit", "disconnect", open_r=9.0, duration_s=50.0),
    ),
    must_find=(
        find(
            "alarm", 30 * MINUTE, 30 * MINUTE + 35, condition="disconnected", within_s=14.5, priority="high"
        ),
        find(
            "alarm", 90 * MINUTE, 90 * MINUTE + 50, condition="disconnected", within_s=14.5, priority="high"
        ),
        find("pressure", 90 * MINUTE + 5, 90 * MINUTE + 45, peak_cmh2o=[3.0, 4.2]),
    ),
)
