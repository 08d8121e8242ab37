"""A day in the theatre: draw-over breathing, bagging, bellows, an adult and a child."""

from firmware_sim.scenarios._parts import ADULT, CHILD, HOUR, MINUTE, at, find, set_up
from firmware_sim.world.scenario import Scenario

_CHILD = 3 * HOUR

SCENARIO = Scenario(
    name="theatre-day",
    title="A day in the theatre",
    description=(
        "Invented. First an adult: breathes through the draw-over circuit, is bagged, then ventilated "
        "by the bellows, and wakes with efforts. Then a child of 15 kg: bagged, ventilated, with its "
        "own preset. Two cases, kept apart by an end and a start."
    ),
    start="2026-04-21T08:00:00",
    duration_s=5 * HOUR,
    seed=17,
    settings={"patient": {**ADULT, "effort_rate_min": 16.0}, "ventilator": {"source": 3}},
    events=(
        *set_up(mode="spontaneous"),
        at(30, "person", "start_case", label="adult"),
        # Induction: efforts fade, a hand takes over.
        at(40 * MINUTE, "patient", "breathe", rate_min=11, effort_cmh2o=7),
        at(45 * MINUTE, "patient", "stop_breathing"),
        at(45 * MINUTE + 12, "ventilator", "hand"),
        at(45 * MINUTE + 14, "ventilator", "set", rate_min=14, tidal_ml=450, ti_s=1.1, peep_cmh2o=0,
           rate_spread_pct=9, stroke_spread_pct=12),
        at(45 * MINUTE + 20, "person", "set_mode", mode="hand"),
        at(60 * MINUTE, "ventilator", "set", rate_min=13, tidal_ml=480, ti_s=1.2, peep_cmh2o=4,
           rate_spread_pct=0.3, stroke_spread_pct=0.6),
        at(60 * MINUTE, "ventilator", "start"),
        at(60 * MINUTE + 15, "person", "set_mode", mode="ventilator"),
        at(63 * MINUTE, "person", "confirm_limits"),
        at(100 * MINUTE, "patient", "cough", count=4),
        at(125 * MINUTE, "patient", "breathe", rate_min=9, effort_cmh2o=6),
        at(140 * MINUTE, "ventilator", "open"),
        at(140 * MINUTE, "patient", "breathe", rate_min=17, effort_cmh2o=12),
        at(140 * MINUTE + 10, "person", "set_mode", mode="spontaneous"),
        at(160 * MINUTE, "person", "set_mode", mode="standby"),
        at(160 * MINUTE + 5, "person", "end_case"),
        at(160 * MINUTE + 10, "circuit", "disconnect"),
        at(160 * MINUTE + 10, "patient", "set", effort_rate_min=0.0),
        at(160 * MINUTE + 10, "ventilator", "stop"),
        # The child.
        at(_CHILD - 60, "patient", "set", **CHILD),
        at(_CHILD - 60, "circuit", "reconnect"),
        at(_CHILD - 30, "person", "start_case", label="child"),
        at(_CHILD - 20, "person", "set_preset", preset="child"),
        at(_CHILD - 5, "ventilator", "set", rate_min=24, tidal_ml=105, ti_s=0.8, peep_cmh2o=3,
           rate_spread_pct=8, stroke_spread_pct=10, limit_cmh2o=30),
        at(_CHILD, "ventilator", "hand"),
        at(_CHILD + 5, "person", "set_mode", mode="hand"),
        at(_CHILD + 12 * MINUTE, "ventilator", "set", rate_spread_pct=0.3, stroke_spread_pct=0.6),
        at(_CHILD + 12 * MINUTE, "ventilator", "start"),
        at(_CHILD + 12 * MINUTE + 10, "person", "set_mode", mode="ventilator"),
        at(_CHILD + 15 * MINUTE, "person", "confirm_limits"),
        at(_CHILD + 60 * MINUTE, "circuit", "disconnect", duration_s=30.0),
        at(_CHILD + 110 * MINUTE, "person", "set_mode", mode="standby"),
        at(_CHILD + 110 * MINUTE + 5, "person", "end_case"),
    ),
    must_find=(
        find("pressure", 5 * MINUTE, 39 * MINUTE, peak_cmh2o=[0.0, 2.0], low_cmh2o=[-4.0, -1.0]),
        find("breaths", 5 * MINUTE, 39 * MINUTE, count=[520, 570], kind="patient"),
        find("breaths", 46 * MINUTE, 59 * MINUTE, count=[172, 192], kind="hand"),
        find("breaths", 61 * MINUTE, 120 * MINUTE, count=[755, 780], kind="ventilator"),
        find("alarm", _CHILD + 3600, _CHILD + 3630, condition="disconnected", within_s=12.5, priority="high"),
    ),
)  # fmt: skip
