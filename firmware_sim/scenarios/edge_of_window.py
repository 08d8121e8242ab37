"""Two hours at the edge of the UPS's window."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, at, attended, find, warm
from firmware_sim.world.scenario import Event, Scenario
from firmware_sim.world.statistics import Draw

_FROM = 0.5 * HOUR
_LEVEL_PCT = 75.0  # 172.5 V between the falls


def _falls() -> tuple[Event, ...]:
    """Return falls to 157-163 V of 1-9 s, every 3-40 s."""
    numbers = Draw(23)
    events = []
    t = _FROM
    while t < _FROM + 2 * HOUR:
        volts = numbers.between(157.0, 163.0)
        length = round(numbers.between(1.0, 9.0), 3)
        residual = round(volts / (2.3 * _LEVEL_PCT) * 100.0, 3)
        events.append(at(t, "mains", "dip", residual_pct=residual, duration_s=length))
        t = round(t + length + numbers.between(3.0, 40.0), 3)
    return tuple(events)


SCENARIO = Scenario(
    name="edge-of-window",
    title="Edge of the window",
    description=(
        "Invented. For two hours the mains falls to 157-163 V every 3-40 s. The UPS leaves at 158 V and "
        "returns at 168 V; the module's tap reads 1 % high. Transfers can only be told by behaviour; "
        "battery use adds up, and the alarms must not flood."
    ),
    start="2026-02-12T18:00:00",
    duration_s=3 * HOUR,
    seed=23,
    settings={
        "patient": ADULT,
        "ventilator": BELLOWS_ADULT,
        "mains": {"drift_pct": 0.0, "sway_pct": 0.1, "wobble_pct": 0.1},
        "ups": {"low_transfer_pct": 158 / 2.3, "low_return_pct": 168 / 2.3, "return_delay_s": 2.0},
    },
    initial=warm(),
    events=(
        *attended(),
        at(1, "board", "gain", channel="supply_in", value=1.0),
        at(_FROM - 60, "mains", "set", level_pct=_LEVEL_PCT, over_s=50),
        *_falls(),
        at(_FROM + 2 * HOUR + 60, "mains", "set", level_pct=99.0, over_s=50),
    ),
    must_find=(
        find("supply_transfers", _FROM, _FROM + 2 * HOUR, count=[20, 80]),
        find("alarm", _FROM, _FROM + 2 * HOUR, condition="stored_energy"),
        find("sound", _FROM, _FROM + 2 * HOUR, activations_per_10_min=[0, 10]),
    ),
)
