"""Every sensor fails in every way, one after the other."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, attended, find, warm
from firmware_sim.world.scenario import Event, Finding, Scenario

_FAULTS = ("open", "short", "stuck", "drift", "noisy", "saturated")
_CHANNELS = ("pressure", "oxygen", "supply_in", "supply_out")
# Drift in units a minute, noise as peak; chosen so that a person would call the channel useless.
_VALUES = {
    ("pressure", "drift"): 4.0, ("oxygen", "drift"): 6.0, ("supply_in", "drift"): 40.0,
    ("supply_out", "drift"): 40.0, ("pressure", "noisy"): 12.0, ("oxygen", "noisy"): 15.0,
    ("supply_in", "noisy"): 120.0, ("supply_out", "noisy"): 120.0,
}  # fmt: skip
_EVERY = 6 * MINUTE
_LAST = 3 * MINUTE


def _faults() -> tuple[Event, ...]:
    events = []
    for i, channel in enumerate(_CHANNELS):
        for k, fault in enumerate(_FAULTS):
            t = 5 * MINUTE + (i * len(_FAULTS) + k) * _EVERY
            value = _VALUES.get((channel, fault), -999.0)
            events.append(
                at(t, "board", "sensor", channel=channel, fault=fault, value=value, duration_s=_LAST)
            )
    return tuple(events)


def _findings() -> tuple[Finding, ...]:
    named = {"pressure": "pressure_sensor_fault", "oxygen": "oxygen_sensor_fault"}
    named |= {"supply_in": "supply_in_sensor_fault", "supply_out": "supply_out_sensor_fault"}
    hard = ("open", "short", "saturated")
    return tuple(
        find(
            "alarm",
            event.t_s,
            event.t_s + _LAST,
            condition=named[str(event.params["channel"])],
            within_s=30.0,
        )
        for event in _faults()
        if event.params["fault"] in hard
    )


SCENARIO = Scenario(
    name="sensor-trouble",
    title="Sensor trouble",
    description=(
        "Invented. Plant and patient are well; the module's sensors are not: pressure, oxygen and both "
        "supply taps are in turn open, short, stuck, drifting, noisy and saturated, three minutes each."
    ),
    start="2026-03-03T10:00:00",
    duration_s=2.5 * HOUR,
    seed=16,
    settings={"patient": ADULT, "ventilator": BELLOWS_ADULT},
    initial=warm(),
    events=(*attended(), *_faults()),
    must_find=_findings(),
)
