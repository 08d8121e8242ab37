"""The grid fails before dawn and the site's generator takes over."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, at, attended, find, never, warm
from firmware_sim.world.scenario import Scenario

_CUT = 0.5 * HOUR

SCENARIO = Scenario(
    name="generator-dawn",
    title="Generator at dawn",
    description=(
        "Invented. At half past four the grid fails; after 40 s a generator runs, with a frequency that "
        "wanders between 48 and 52 Hz and a distorted wave; when its load changes it slows for a "
        "minute. The grid returns after two hours. The UPS stands in normal mode."
    ),
    start="2026-06-20T04:00:00",
    duration_s=3 * HOUR,
    seed=15,
    settings={"patient": ADULT, "ventilator": BELLOWS_ADULT},
    initial=warm(),
    events=(
        *attended(),
        at(_CUT, "mains", "interruption", duration_s=40.0),
        at(_CUT + 30, "mains", "generator", hz=50.4),
        at(_CUT + 900, "mains", "set", frequency_hz=48.4, over_s=20),
        at(_CUT + 960, "mains", "set", frequency_hz=50.2, over_s=15),
        at(_CUT + 3000, "mains", "set", frequency_hz=51.9, over_s=30),
        at(_CUT + 3200, "mains", "set", frequency_hz=50.1, over_s=30),
        at(_CUT + 3600, "mains", "dip", residual_pct=79.0, duration_s=1.2),
        at(2.5 * HOUR, "mains", "interruption", duration_s=4.0),
        at(2.5 * HOUR + 2, "mains", "grid"),
    ),
    must_find=(
        find("supply_event", _CUT, _CUT + 45, 2.0, tap="in", event="interruption", duration_s=[39.9, 40.1]),
        find("alarm", _CUT, _CUT + 40, condition="stored_energy", priority="medium"),
        find("supply_event", _CUT + 3600, _CUT + 3603, tap="in", event="dip", duration_s=[1.1, 1.3]),
        never("supply_event", 60, 3 * HOUR, tap="out"),
        find("breaths", 60, 3 * HOUR, count=[2_440, 2_530], kind="ventilator"),
    ),
)
