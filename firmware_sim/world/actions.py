"""What may happen in a scenario: one row an action, with its parameters, bounds and truth.

The rig plays 'person', 'board', 'link' and 'host'; the plant plays the rest. A row with `undo` and a
`duration_s` ends by itself.
"""

from dataclasses import dataclass, field

from firmware_sim.contract.channels import CHANNELS, MODES, PRESETS, SENSOR_CONDITIONS

Value = float | int | str

PLANT_ACTORS = (
    "mains", "ups", "concentrator", "cylinder", "ventilator", "patient", "circuit", "site", "module",
)  # fmt: skip
RIG_ACTORS = ("person", "board", "link", "host")
ACTORS = PLANT_ACTORS + RIG_ACTORS

OBSERVABLE = "observable"
INFERABLE = "inferable"
UNOBSERVABLE = "unobservable"


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameter:
    """One parameter: a number within bounds, or one of `choices`; `default` None means it must be given."""

    default: Value | None = None
    low: float = 0.0
    high: float = 1e6
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """One action: settings it makes, commands it gives, truth it opens or closes.

    `sets` maps a settings field to a fixed value or to the name of a parameter.
    """

    about: str
    params: dict[str, Parameter] = field(default_factory=dict)
    sets: dict[str, Value] = field(default_factory=dict)
    undo: str | None = None
    begins: str | None = None
    ends: tuple[str, ...] = ()
    moment: str | None = None
    observability: str = OBSERVABLE


def number(default: float | None = None, low: float = 0.0, high: float = 1e6) -> Parameter:
    """Return a numeric parameter."""
    return Parameter(default=default, low=low, high=high)


def choice(*choices: str, default: str | None = None) -> Parameter:
    """Return a parameter that is one of the words."""
    return Parameter(default=default, choices=choices)


_FOR = {"duration_s": number(0.0, 0.0, 1e6)}
_SENSORS = tuple(row[1] for row in CHANNELS)
_GENERATOR: dict[str, Value] = {
    "level_pct": 98.5, "thd_pct": 6.0, "wander_hz": 0.35, "wobble_pct": 0.4, "sway_pct": 1.0,
    "frequency_hz": "hz",
}  # fmt: skip
_GRID: dict[str, Value] = {
    "level_pct": 100.0, "thd_pct": 3.0, "wander_hz": 0.015, "wobble_pct": 0.15, "sway_pct": 0.6,
    "frequency_hz": "hz", "flicker_pct": 0.0,
}  # fmt: skip

ACTIONS: dict[str, dict[str, Action]] = {
    "mains": {
        "dip": Action(
            about="Lower the voltage at one sample.",
            params={"residual_pct": number(None, 0, 100), "duration_s": number(None, 0, 1e6)},
        ),
        "swell": Action(
            about="Raise the voltage at one sample.",
            params={"residual_pct": number(None, 100, 200), "duration_s": number(None, 0, 1e6)},
        ),
        "interruption": Action(
            about="Cut the supply; `residual_pct` is what a dead line still shows.",
            params={"residual_pct": number(0.0, 0, 60), "duration_s": number(None, 0, 1e6)},
        ),
        "surge": Action(
            about="A 50 µs impulse, too short for 3.2 kS/s.",
            params={"peak_v": number(None, 0, 20_000)},
            moment="surge",
            observability=UNOBSERVABLE,
        ),
        "ring": Action(
            about="A decaying oscillation on the wave (300-900 Hz, 8-40 ms).",
            params={
                "peak_v": number(None, 0, 800),
                "hz": number(600, 100, 1500),
                "tau_s": number(0.01, 1e-3, 1),
            },
            moment="ring",
            observability=INFERABLE,
        ),
        "generator": Action(
            about="The site's generator takes over.",
            params={"hz": number(50.0, 40, 70)},
            sets=_GENERATOR,
            begins="generator",
            observability=INFERABLE,
        ),
        "grid": Action(
            about="The grid is back.", params={"hz": number(50.0, 40, 70)}, sets=_GRID, ends=("generator",)
        ),
    },
    "ups": {
        "switch_to_normal": Action(about="Somebody presses 'normal'; refused without good input."),
        "switch_to_bypass": Action(about="Somebody presses 'bypass'."),
        "open_breaker": Action(
            about="The input breaker opens behind the tap.",
            params=_FOR,
            sets={"breaker": 0},
            undo="close_breaker",
            begins="input_breaker_open",
            observability=INFERABLE,
        ),
        "close_breaker": Action(about="Close it.", sets={"breaker": 1}, ends=("input_breaker_open",)),
        "inverter_fault": Action(
            about="The inverter fails: bypass.",
            sets={"inverter_fault": 1},
            begins="inverter_fault",
            observability=INFERABLE,
        ),
        "clear_fault": Action(about="Mend it.", sets={"inverter_fault": 0}, ends=("inverter_fault",)),
    },
    "concentrator": {
        "trip": Action(about="Trip it.", moment="concentrator_trip", observability=INFERABLE),
        "reset": Action(about="Somebody resets it."),
        "off": Action(about="Switch it off.", sets={"switched_on": 0}, params=_FOR, undo="on"),
        "on": Action(about="Switch it on.", sets={"switched_on": 1}),
    },
    "cylinder": {
        "open": Action(about="Open the valve by hand.", sets={"valve": 1}),
        "close": Action(about="Close the valve.", sets={"valve": 0}),
        "automatic": Action(about="Put the change-over valve in.", sets={"valve": 2}),
        "replace": Action(about="Connect another one.", params={"gauge_bar": number(137.0, 0, 300)}),
    },
    "ventilator": {
        "start": Action(about="Bellows on.", sets={"source": 1}),
        "stop": Action(about="Nothing pushes gas.", sets={"source": 0}),
        "hand": Action(about="A hand squeezes the bag.", sets={"source": 2}),
        "open": Action(about="Draw-over: the patient breathes through the open circuit.", sets={"source": 3}),
        "miss_stroke": Action(
            about="Leave out the next strokes.",
            params={"count": number(1, 1, 1000)},
            moment="missed_stroke",
        ),
        "tear_bellows": Action(
            about="A hole lets drive gas in.",
            params={"hole": number(0.25, 0, 2)},
            sets={"hole": "hole"},
            undo="mend_bellows",
            begins="bellows_hole",
            observability=INFERABLE,
        ),
        "mend_bellows": Action(about="New bellows.", sets={"hole": 0.0}, ends=("bellows_hole",)),
    },
    "patient": {
        "cough": Action(about="Cough.", params={"count": number(3, 1, 50)}, moment="cough"),
        "stop_breathing": Action(
            about="No effort any more.", sets={"effort_rate_min": 0.0}, begins="apnoea"
        ),
        "breathe": Action(
            about="Breathe at a rate.",
            params={"rate_min": number(16, 1, 80), "effort_cmh2o": number(12, 0, 40)},
            sets={"effort_rate_min": "rate_min", "effort_cmh2o": "effort_cmh2o"},
            ends=("apnoea",),
        ),
    },
    "circuit": {
        "disconnect": Action(
            about="The circuit comes apart; `open_r` is the resistance of the open end.",
            params={"open_r": number(0.4, 0.05, 200), **_FOR},
            sets={"apart": 1, "open_r_cmh2o_s_l": "open_r"},
            undo="reconnect",
            begins="circuit_apart",
        ),
        "extubate": Action(
            about="The tube comes out and hangs on the circuit.",
            params={"open_r": number(14.0, 0.05, 200), **_FOR},
            sets={"apart": 1, "open_r_cmh2o_s_l": "open_r"},
            undo="reconnect",
            begins="extubated",
        ),
        "reconnect": Action(about="Put it together.", sets={"apart": 0}, ends=("circuit_apart", "extubated")),
        "leak": Action(
            about="A leak, mL/s per cmH2O.",
            params={"ml_s_cmh2o": number(10.0, 0, 1000), **_FOR},
            sets={"leak_ml_s_cmh2o": "ml_s_cmh2o"},
            undo="seal",
            begins="leak",
            observability=INFERABLE,
        ),
        "seal": Action(about="Tight again.", sets={"leak_ml_s_cmh2o": 0.0}, ends=("leak",)),
        "kink": Action(
            about="Added resistance between tee and lung.",
            params={"r_cmh2o_s_l": number(40.0, 0, 5000), **_FOR},
            sets={"kink_r_cmh2o_s_l": "r_cmh2o_s_l"},
            undo="unkink",
            begins="kink",
            observability=INFERABLE,
        ),
        "unkink": Action(about="Free again.", sets={"kink_r_cmh2o_s_l": 0.0}, ends=("kink",)),
        "water": Action(
            about="Water rattles in the tube.",
            params={"cmh2o": number(1.5, 0, 20), **_FOR},
            sets={"water_cmh2o": "cmh2o"},
            undo="drain",
            begins="water",
            observability=INFERABLE,
        ),
        "drain": Action(about="Drain it.", sets={"water_cmh2o": 0.0}, ends=("water",)),
        "block_line": Action(
            about="Water blocks the sensor's tube; the reading stands at a value (-999: the last).",
            params={"at_cmh2o": number(-999.0, -999, 120), **_FOR},
            sets={"line_blocked": 1, "line_cmh2o": "at_cmh2o"},
            undo="clear_line",
            begins="sensor_line_blocked",
            observability=INFERABLE,
        ),
        "clear_line": Action(about="Blow it free.", sets={"line_blocked": 0}, ends=("sensor_line_blocked",)),
    },
    "site": {},
    "module": {
        "pull_adapter": Action(
            about="Pull the module's adapter.", params=_FOR, sets={"adapter": 0}, undo="plug_adapter"
        ),
        "plug_adapter": Action(about="Plug it in.", sets={"adapter": 1}),
    },
    "person": {
        "pause": Action(about="Press 'pause sound'."),
        "acknowledge": Action(about="Press 'acknowledge'."),
        "set_mode": Action(about="Set the mode.", params={"mode": choice(*MODES)}),
        "set_preset": Action(about="Set the preset.", params={"preset": choice(*PRESETS)}),
        "set_setting": Action(
            about="Change one setting, its value in wire steps.",
            params={"name": choice(default=""), "value": number(None, -1e6, 1e6)},
        ),
        "declare_warming_up": Action(about="Declare that the source is warming up."),
        "confirm_limits": Action(about="Confirm the limits, with the peak seen now as typical."),
        "start_case": Action(about="A new patient.", params={"label": choice(default="")}),
        "end_case": Action(about="The case ends."),
        "tell_cylinder": Action(
            about="Tell the module of the cylinder: usable litres at least, use at most.",
            params={"litres": number(None, 0, 65_535), "l_min": number(None, 0, 600)},
        ),
        "zero_pressure": Action(about="Zero the pressure channel against the atmosphere."),
    },
    "board": {
        "sensor": Action(
            about="A sensor fault at the module's input; `value` by kind: drift a minute, noise peak, "
            "stuck value (channel unit), -999 means the last.",
            params={
                "channel": choice(*_SENSORS),
                "fault": choice(*SENSOR_CONDITIONS),
                "value": number(-999.0, -1000, 1000),
                "duration_s": number(60.0, 0, 1e6),
            },
            begins="sensor_fault",
        ),
        "offset": Action(
            about="Shift a channel, in its unit.",
            params={"channel": choice(*_SENSORS), "value": number(0.0, -1000, 1000)},
            moment="sensor_offset",
            observability=INFERABLE,
        ),
        "gain": Action(
            about="Scale a channel, per cent.",
            params={"channel": choice(*_SENSORS), "value": number(0.0, -50, 50)},
            moment="sensor_gain",
            observability=UNOBSERVABLE,
        ),
        "power_cut": Action(
            about="The module loses power.", params={"duration_s": number(None, 0, 1e6)}, begins="module_off"
        ),
        "reset": Action(about="The module resets.", moment="module_reset"),
        "flash_tear": Action(
            about="Power fails while a flash page is written.",
            params={"after_bytes": number(64, 0, 65_536), "duration_s": number(5.0, 0, 1e6)},
            moment="flash_tear",
        ),
        "program": Action(
            about="The program's memory reads wrong, until it is mended.",
            params={"state": choice("damaged", "sound")},
            moment="program_fault",
            observability=INFERABLE,
        ),
        "button": Action(
            about="Something lies on a button.",
            params={"which": choice("pause", "acknowledge"), "duration_s": number(60.0, 0, 1e6)},
            moment="button_held",
        ),
        "set_clock": Action(
            about="The module's clock is set to a wrong date.",
            params={"offset_s": number(None, -2e9, 2e9)},
            moment="module_clock_step",
        ),
    },
    "link": {
        "unplug": Action(
            about="Pull the link.", params={"duration_s": number(None, 0, 1e6)}, begins="link_down"
        ),
        "plug": Action(about="Plug it in.", ends=("link_down",)),
    },
    "host": {
        "off": Action(
            about="The laptop is off.", params={"duration_s": number(None, 0, 1e6)}, begins="host_off"
        ),
        "on": Action(about="The laptop is on.", ends=("host_off",)),
        "set_clock": Action(
            about="The laptop's clock is stepped.",
            params={"offset_s": number(None, -2e9, 2e9)},
            moment="host_clock_step",
        ),
    },
}  # fmt: skip

# Bounds of settings that the physics divides by or that would carry it outside the integers.
SETTING_BOUNDS: dict[str, tuple[float, float]] = {
    "mains.nominal_v": (90, 260),
    "mains.nominal_hz": (45, 65),
    "mains.frequency_hz": (20, 80),
    "mains.level_pct": (0, 220),
    "mains.thd_pct": (0, 60),
    "mains.drift_pct": (0, 50),
    "mains.sway_pct": (0, 20),
    "mains.wobble_pct": (0, 20),
    "mains.flicker_pct": (0, 50),
    "mains.flicker_hz": (0.01, 25),
    "mains.wander_hz": (0, 5),
    "ups.crystal_ppm": (-5_000, 5_000),
    "ups.output_thd_pct": (0, 30),
    "ups.rated_w": (50, 1e5),
    "ups.battery_ah": (0.1, 1000),
    "ups.health": (0.02, 1.2),
    "ups.cell_ohm": (0.001, 5),
    "ups.fast_share": (0.1, 0.9),
    "ups.efficiency": (0.3, 1.0),
    "concentrator.capacity_l_min": (0.1, 50),
    "concentrator.wear": (0, 0.99),
    "concentrator.flow_l_min": (0, 30),
    "concentrator.fill_s": (1, 1e5),
    "concentrator.fade_s": (1, 1e6),
    "concentrator.cycle_s": (1, 60),
    "cylinder.water_l": (0.1, 100),
    "cylinder.regulator_kpa": (10, 1000),
    "site.volume_ml": (1, 1e5),
    "site.diffusion_s": (10, 1e7),
    "site.ambient_pa": (4e4, 1.1e5),
    "ventilator.rate_min": (1, 60),
    "ventilator.tidal_ml": (5, 3000),
    "ventilator.ti_s": (0.1, 10),
    "ventilator.pause_s": (0, 10),
    "ventilator.limit_cmh2o": (1, 120),
    "ventilator.peep_cmh2o": (0, 40),
    "ventilator.hole": (0, 5),
    "ventilator.rate_spread_pct": (0, 25),
    "ventilator.stroke_spread_pct": (0, 25),
    "ventilator.drive_needed": (0.26, 1.0),
    "patient.compliance_ml_cmh2o": (0.5, 300),
    "patient.airway_r_cmh2o_s_l": (0.2, 500),
    "patient.tube_r1_cmh2o_s_l": (0, 500),
    "patient.tube_r2_cmh2o_s2_l2": (0, 500),
    "patient.effort_cmh2o": (0, 100),
    "patient.effort_spread_pct": (0, 25),
    "patient.cough_cmh2o": (0, 200),
    "patient.effort_rate_min": (0, 80),
    "patient.effort_ti_s": (0.1, 5),
    "circuit.leak_ml_s_cmh2o": (0, 1e4),
    "circuit.kink_r_cmh2o_s_l": (0, 1e4),
    "circuit.water_cmh2o": (0, 50),
    "circuit.open_r_cmh2o_s_l": (0.05, 1e4),
    "circuit.expiratory_r_cmh2o_s_l": (0, 500),
    "circuit.inlet_r_cmh2o_s_l": (0, 500),
    "module.cell_mah": (1, 1e5),
}
