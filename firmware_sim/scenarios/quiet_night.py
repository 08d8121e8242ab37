"""Nothing happens but small things."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, at, find, never, set_up
from firmware_sim.world.scenario import Scenario

_T = 12 * HOUR

SCENARIO = Scenario(
    name="quiet-night",
    title="A quiet night",
    description=(
        "Invented. One adult on the bellows, mains a little low before dawn, two short dips that the "
        "UPS hides, one cough. Shows what a night without trouble looks like, and that few alarms "
        "sound."
    ),
    start="2026-05-11T19:00:00",
    seed=11,
    settings={"patient": ADULT, "ventilator": BELLOWS_ADULT},
    events=(
        *set_up(),
        at(3.2 * HOUR, "mains", "dip", residual_pct=72.0, duration_s=0.18),
        at(5.5 * HOUR, "patient", "cough", count=3),
        at(8.1 * HOUR, "mains", "dip", residual_pct=81.0, duration_s=0.4),
    ),
    must_find=(
        find("supply_event", 3.2 * HOUR, 3.2 * HOUR + 2, tap="in", event="dip", residual_pct=[71, 73.5]),
        find("supply_event", 8.1 * HOUR, 8.1 * HOUR + 2, tap="in", event="dip", residual_pct=[80, 82.5]),
        never("supply_event", 60, _T, tap="out"),
        find("supply_state", 10 * 60, _T, state="normal", at_least_share=0.9),
        find("breaths", 600, _T, count=[9_900, 9_980], kind="ventilator"),
        find("oxygen", 900, _T, pct=[93.0, 96.5]),
        never("alarm", 900, 5.5 * HOUR - 60, priority="high"),
        # A cough is a high pressure, and within the breath.
        find("alarm", 5.5 * HOUR, 5.5 * HOUR + 60, condition="pressure_high", priority="high"),
        never("alarm", 5.5 * HOUR + 120, _T, priority="high"),
    ),
)
