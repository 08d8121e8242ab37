"""Short words for building scenarios."""

from typing import Any

from firmware_sim.world.actions import Value
from firmware_sim.world.scenario import Event, Finding

MINUTE = 60.0
HOUR = 3600.0

ADULT: dict[str, Value] = {"compliance_ml_cmh2o": 50.0, "airway_r_cmh2o_s_l": 8.0}
CHILD: dict[str, Value] = {
    "compliance_ml_cmh2o": 12.0, "airway_r_cmh2o_s_l": 22.0, "tube_r1_cmh2o_s_l": 8.0,
    "tube_r2_cmh2o_s2_l2": 20.0,
}  # fmt: skip
BELLOWS_ADULT: dict[str, Value] = {
    "source": 1, "rate_min": 14.0, "tidal_ml": 480.0, "ti_s": 1.2, "peep_cmh2o": 5.0, "rate_spread_pct": 0.3,
    "stroke_spread_pct": 0.6,
}  # fmt: skip


def at(t_s: float, actor: str, action: str, **params: Value) -> Event:
    """Return an event."""
    return Event(t_s=t_s, actor=actor, action=action, params=params)


def find(kind: str, from_s: float, to_s: float, tolerance_s: float = 1.0, /, **values: Any) -> Finding:
    """Return what must be found."""
    return Finding(kind=kind, from_s=from_s, to_s=to_s, tolerance_s=tolerance_s, values=values)


def never(kind: str, from_s: float, to_s: float, /, **values: Any) -> Finding:
    """Return what must not be found."""
    return Finding(kind=kind, from_s=from_s, to_s=to_s, values=values, never=True)


def set_up(mode: str = "ventilator", preset: str = "adult") -> tuple[Event, ...]:
    """Return what people do first: mode, preset, warming up declared, UPS to normal, limits confirmed."""
    return (
        at(5, "person", "set_mode", mode=mode),
        at(6, "person", "set_preset", preset=preset),
        at(8, "person", "declare_warming_up"),
        at(20, "ups", "switch_to_normal"),
        at(120, "person", "confirm_limits"),
    )


def warm() -> dict[str, float]:
    """Return a plant that has been running for hours, UPS in normal mode."""
    return {"bed": 1.0, "site_ppm": 945_000.0, "ups_normal": 1.0}


def attended(mode: str = "ventilator", preset: str = "adult") -> tuple[Event, ...]:
    """Return what people do when they take over a plant that runs."""
    return (
        at(2, "person", "set_mode", mode=mode),
        at(3, "person", "set_preset", preset=preset),
        at(60, "person", "confirm_limits"),
    )
