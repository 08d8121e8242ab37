"""The night of the demonstration: much happens, and the patient is ventilated through all of it."""

from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT, HOUR, MINUTE, at, find, set_up
from firmware_sim.world.scenario import Event, Finding, Scenario
from firmware_sim.world.statistics import Draw

_STORM = 1.2 * HOUR
_OUTAGE_1 = 1.5 * HOUR
_OUTAGE_2 = 2.6 * HOUR
_EDGE = 3.7 * HOUR
_BYPASS = 4.9 * HOUR
_OUTAGE_3 = 5.4 * HOUR
_SWITCHED = 5.9 * HOUR
_FLOW = 6.3 * HOUR
_APART = 7.6 * HOUR
_WATER = 8.2 * HOUR
_DAWN = 9.5 * HOUR


def _storm() -> tuple[Event, ...]:
    """Return the thunderstorm: dips in clusters, surges of microseconds."""
    numbers = Draw(77)
    events = []
    t = _STORM
    for _ in range(9):
        residual = round(numbers.between(35.0, 86.0), 1)
        length = round(numbers.between(0.06, 0.6), 3)
        events.append(at(round(t, 3), "mains", "dip", residual_pct=residual, duration_s=length))
        t += numbers.between(15.0, 120.0)
    events.append(at(_STORM + 200, "mains", "surge", peak_v=1_800))
    events.append(at(_STORM + 320, "mains", "ring", peak_v=140, hz=640, tau_s=0.012))
    return tuple(events)


def _edge() -> tuple[Event, ...]:
    """Return an hour at the edge of the UPS's window."""
    numbers = Draw(78)
    events = [at(_EDGE - 120, "mains", "set", level_pct=77.5, over_s=100)]
    t = _EDGE
    while t < _EDGE + HOUR:
        volts = numbers.between(153.0, 167.0)
        length = round(numbers.between(0.8, 6.0), 3)
        residual = round(volts / (2.3 * 77.5) * 100.0, 2)
        events.append(at(round(t, 3), "mains", "dip", residual_pct=residual, duration_s=length))
        t += length + numbers.between(20.0, 150.0)
    events.append(at(_EDGE + HOUR + 30, "mains", "set", level_pct=97.0, over_s=60))
    return tuple(events)


def _people() -> tuple[Event, ...]:
    return (
        at(30, "person", "start_case", label="bed 3"),
        at(_OUTAGE_1 + 25, "person", "acknowledge"),
        at(_OUTAGE_2 + 18, "person", "acknowledge"),
        at(_EDGE + 400, "person", "acknowledge"),
        at(_OUTAGE_3 + 20, "person", "pause"),
        at(_OUTAGE_3 + 40, "ventilator", "hand"),
        at(_OUTAGE_3 + 50, "person", "set_mode", mode="hand"),
        at(_OUTAGE_3 + 7 * MINUTE, "ventilator", "start"),
        at(_OUTAGE_3 + 7 * MINUTE + 8, "person", "set_mode", mode="ventilator"),
        at(_SWITCHED, "ups", "switch_to_normal"),
        at(_FLOW + 35 * MINUTE, "person", "pause"),
        at(_APART + 21, "person", "pause"),
        at(_WATER + 40 * MINUTE, "circuit", "drain"),
        at(_DAWN + 30, "person", "acknowledge"),
    )


def _cut_found(t_s: float, length_s: float) -> Finding:
    lengths = [length_s - 0.1, length_s + 0.2]
    return find("supply_event", t_s, t_s + length_s + 5, tap="in", event="interruption", duration_s=lengths)


SCENARIO = Scenario(
    name="monsoon-night",
    title="Monsoon night",
    description=(
        "Invented. Twelve hours at one bed in the rains: a storm with dips and an unseen surge, outages "
        "of 9, 12 and 4 min, an hour at the edge of the UPS's window, an hour in bypass that nobody "
        "notices until an outage takes the output, oxygen flow set too high for the concentrator, the "
        "circuit apart for 35 s, water in the tube, alarms paused and acknowledged, ten minutes without "
        "the laptop's cable, and a generator at dawn."
    ),
    start="2026-07-14T19:00:00",
    duration_s=12 * HOUR,
    seed=20260714,
    fitted=("product_pressure",),
    settings={
        "patient": ADULT,
        "ventilator": {**BELLOWS_ADULT, "hanging": 1},
        "mains": {
            "level_pct": 96.0,
            "drift_pct": 2.0,
            "sway_pct": 0.8,
            "wobble_pct": 0.2,
            "drift_low_h": 1.0,
        },
        "cylinder": {"valve": 0, "water_l": 2.32},
    },
    events=(
        *set_up(),
        *_storm(),
        at(0.6 * HOUR, "mains", "set", flicker_pct=0.7, flicker_hz=8.8),
        at(1.1 * HOUR, "mains", "set", flicker_pct=0.0),
        at(_OUTAGE_1, "mains", "interruption", duration_s=9 * MINUTE),
        at(_OUTAGE_2, "mains", "interruption", duration_s=12 * MINUTE),
        *_edge(),
        at(_BYPASS, "ups", "switch_to_bypass"),
        at(_BYPASS + 20 * MINUTE, "mains", "dip", residual_pct=81.0, duration_s=0.35),
        at(_OUTAGE_3, "mains", "interruption", duration_s=4 * MINUTE),
        at(_FLOW, "concentrator", "set", flow_l_min=10.5),
        at(_FLOW + 40 * MINUTE, "concentrator", "set", flow_l_min=5.0),
        at(7.2 * HOUR, "link", "unplug", duration_s=600.0),
        at(_APART, "circuit", "disconnect", duration_s=35.0),
        at(_WATER, "circuit", "water", cmh2o=1.1),
        at(8.0 * HOUR, "patient", "cough", count=4),
        at(8.9 * HOUR, "patient", "set", compliance_ml_cmh2o=43.0, over_s=1500),
        at(_DAWN, "mains", "interruption", duration_s=35.0),
        at(_DAWN + 25, "mains", "generator", hz=50.3),
        at(_DAWN + 1200, "mains", "set", frequency_hz=48.7, over_s=20),
        at(_DAWN + 1290, "mains", "set", frequency_hz=50.2, over_s=20),
        at(_DAWN + 1.6 * HOUR, "mains", "interruption", duration_s=5.0),
        at(_DAWN + 1.6 * HOUR + 2, "mains", "grid"),
        *_people(),
    ),
    must_find=(
        find(
            "supply_event",
            _OUTAGE_1,
            _OUTAGE_1 + 545,
            tap="in",
            event="interruption",
            duration_s=[539.9, 540.2],
        ),
        find(
            "supply_event",
            _OUTAGE_2,
            _OUTAGE_2 + 725,
            tap="in",
            event="interruption",
            duration_s=[719.9, 720.2],
        ),
        find("alarm", _OUTAGE_1, _OUTAGE_1 + 60, condition="stored_energy", priority="medium"),
        find("supply_transfers", _EDGE, _EDGE + HOUR, count=[8, 40]),
        find("alarm", _BYPASS, _BYPASS + 15 * MINUTE, condition="bypass"),
        find("supply_event", _OUTAGE_3, _OUTAGE_3 + 245, tap="out", event="interruption"),
        find("alarm", _OUTAGE_3, _OUTAGE_3 + 60, condition="output_lost", within_s=5.0, priority="high"),
        find("alarm", _FLOW, _FLOW + 40 * MINUTE, condition="purity_low", priority="medium"),
        find("alarm", _APART, _APART + 35, condition="disconnected", within_s=14.5, priority="high"),
        find("gap", 7.2 * HOUR, 7.2 * HOUR + 600, reason="none"),
        _cut_found(_DAWN, 35.0),
    ),
)
