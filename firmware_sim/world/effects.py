"""What an event does to settings and state; scripted dips become schedules of samples."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from firmware_sim.contract import SUPPLY_RATE_HZ
from firmware_sim.world import cylinder, mains, samples, tick, ups, waves
from firmware_sim.world.actions import ACTIONS, PLANT_ACTORS, Action
from firmware_sim.world.jit import plain
from firmware_sim.world.scenario import Event, Scenario, parameter
from firmware_sim.world.smooth import decay
from firmware_sim.world.truth import Truth

SCHEDULED = ("dip", "swell", "interruption", "ring")
_RAMP_STEPS_MAX = 240


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What an event changed."""

    settings: tick.Settings
    state: tick.State
    begins: tuple[Truth, ...] = ()
    ends: tuple[str, ...] = ()
    moments: tuple[Truth, ...] = ()
    follow_up: tuple[Event, ...] = ()


def with_values(settings: tick.Settings, part: str, values: dict[str, Any]) -> tick.Settings:
    """Return settings with some values of a part replaced; each keeps the type of its field."""
    old = getattr(settings, part)
    new = {name: type(getattr(old, name))(value) for name, value in values.items()}
    return settings._replace(**{part: old._replace(**new)})


def first_settings(scenario: Scenario) -> tick.Settings:
    """Return the settings a scenario starts with."""
    nominal = {
        "nominal_v": scenario.nominal_v,
        "nominal_hz": scenario.nominal_hz,
        "frequency_hz": scenario.nominal_hz,
    }
    settings = with_values(tick.Settings(), "mains", nominal)
    for part, values in scenario.settings.items():
        settings = with_values(settings, part, dict(values))
    return settings


def first_peak(settings: tick.Settings) -> int:
    """Return the amplitude before the first step."""
    m = settings.mains
    return int(plain(mains.peak_q8)(0.01 * m.level_pct * m.nominal_v, m.thd_pct))


def _sample(t_s: float) -> int:
    return int(t_s * SUPPLY_RATE_HZ + 0.5)


def dips_of(event: Event) -> list[tuple[int, int, float]]:
    """Return (first sample, end sample, factor) of a dip, swell or interruption."""
    if event.action == "ring":
        return []
    start = _sample(event.t_s)
    end = max(_sample(event.t_s + float(parameter(event, "duration_s"))), start + 1)
    return [(start, end, 0.01 * float(parameter(event, "residual_pct")))]


def rings_of(event: Event) -> list[tuple[int, int, int, int]]:
    """Return (sample, peak, phase step, decay) of an oscillation."""
    if event.action != "ring":
        return []
    tau = float(parameter(event, "tau_s"))
    step = waves.phase_step(float(parameter(event, "hz")), SUPPLY_RATE_HZ)
    keep = int(65536.0 * plain(decay)(1.0 / (SUPPLY_RATE_HZ * tau)))
    return [(_sample(event.t_s), int(100.0 * float(parameter(event, "peak_v"))), step, keep)]


def ring_truth(event: Event) -> list[Truth]:
    """Return the record of an oscillation; dips need none, the waves themselves tell."""
    row = ACTIONS["mains"]["ring"]
    if event.action != "ring" or row.moment is None:
        return []
    ms = round(1000 * event.t_s)
    details = {name: parameter(event, name) for name in row.params}
    return [Truth(kind=row.moment, start_ms=ms, end_ms=ms, observability=row.observability, details=details)]


def schedules(
    dips: list[tuple[int, int, float]], rings: list[tuple[int, int, int, int]]
) -> tuple[np.ndarray, np.ndarray]:
    """Return the tables of `samples.Waves`; overlapping dips multiply."""
    edges = sorted({edge for start, end, _ in dips for edge in (start, end)})
    rows = []
    live: list[tuple[int, int, float]] = []
    starts = sorted(dips)
    k = 0
    for edge in edges:
        while k < len(starts) and starts[k][0] <= edge:
            live.append(starts[k])
            k += 1
        live = [dip for dip in live if dip[1] > edge]
        factor = 1.0
        for dip in live:
            factor *= dip[2]
        rows.append((edge, round(samples.FACTOR_ONE * min(factor, 3.0))))
    rows.append((samples.NEVER, samples.FACTOR_ONE))
    ring_rows = [*sorted(rings), (samples.NEVER, 0, 0, 0)]
    return np.array(rows, dtype=np.int64), np.array(ring_rows, dtype=np.int64)


def with_schedules(carrier: samples.Carrier, tables: samples.Waves) -> samples.Carrier:
    """Point a carrier at the next rows of new tables."""
    next_dip = int(np.searchsorted(tables.dips[:, 0], carrier.sample))
    next_ring = int(np.searchsorted(tables.rings[:, 0], carrier.sample))
    factor = int(tables.dips[next_dip - 1, 1]) if next_dip > 0 else samples.FACTOR_ONE
    return carrier._replace(next_dip=next_dip, next_ring=next_ring, factor_q16=factor)


def apply(event: Event, settings: tick.Settings, state: tick.State, now_ms: int) -> Outcome:
    """Return what an event makes of settings and state, with its truth and what follows by itself."""
    if event.action == "set" and event.actor in PLANT_ACTORS:
        return _apply_set(event, settings, state, now_ms)
    action = ACTIONS[event.actor][event.action]
    settings = _made_settings(event, action, settings)
    state = _commanded(event, settings, state)
    details = {name: parameter(event, name) for name in action.params}
    duration_s = float(details.get("duration_s", 0.0))
    begins, moments, follow = [], [], []

    def record(kind: str, end_ms: int | None) -> Truth:
        return Truth(
            kind=kind, start_ms=now_ms, end_ms=end_ms, observability=action.observability, details=details
        )

    if action.begins and event.actor in PLANT_ACTORS:
        begins = [record(action.begins, None)]
    elif action.begins:
        # Several sensors may be faulty at once: each record has its own end.
        moments = [record(action.begins, now_ms + round(1000 * duration_s))]
    if action.moment:
        moments.append(record(action.moment, now_ms))
    if action.undo and duration_s > 0:
        follow = [Event(t_s=now_ms / 1000 + duration_s, actor=event.actor, action=action.undo)]
    return Outcome(
        settings=settings, state=state, begins=tuple(begins), ends=action.ends, moments=tuple(moments),
        follow_up=tuple(follow),
    )  # fmt: skip


def _apply_set(event: Event, settings: tick.Settings, state: tick.State, now_ms: int) -> Outcome:
    """Set fields at once, or along a straight line of small steps."""
    values = {name: value for name, value in event.params.items() if name != "over_s"}
    over_s = float(event.params.get("over_s", 0.0))
    if over_s <= 0.0:
        return Outcome(settings=with_values(settings, event.actor, values), state=state)
    steps = max(1, min(_RAMP_STEPS_MAX, int(over_s)))
    old = getattr(settings, event.actor)._asdict()
    follow = tuple(
        Event(
            t_s=now_ms / 1000 + over_s * k / steps,
            actor=event.actor,
            action="set",
            params={
                name: old[name] + (float(value) - old[name]) * k / steps for name, value in values.items()
            },
        )
        for k in range(1, steps + 1)
    )
    return Outcome(settings=settings, state=state, follow_up=follow)


def _made_settings(event: Event, action: Action, settings: tick.Settings) -> tick.Settings:
    values = {
        name: parameter(event, value) if isinstance(value, str) else value
        for name, value in action.sets.items()
    }
    return with_values(settings, event.actor, values) if values else settings


def _commanded(event: Event, settings: tick.Settings, state: tick.State) -> tick.State:
    """Return the state after a command that is more than a setting."""
    supply, gas, breathing = state.supply, state.gas, state.breathing
    match event.actor, event.action:
        case "mains", "surge":
            return state._replace(surge_v=float(parameter(event, "peak_v")))
        case "ups", "switch_to_normal":
            return state._replace(supply=supply._replace(ups=supply.ups._replace(wants_normal=1)))
        case "ups", "switch_to_bypass":
            if supply.ups.mode in (ups.MODE_NORMAL, ups.MODE_STORED):
                return state._replace(supply=supply._replace(ups=supply.ups._replace(mode=ups.MODE_BYPASS)))
        case "concentrator", ("trip" | "reset") as what:
            tripped = gas.concentrator._replace(tripped=1 if what == "trip" else 0)
            return state._replace(gas=gas._replace(concentrator=tripped))
        case "cylinder", "replace":
            content = cylinder.content_at(float(parameter(event, "gauge_bar")), settings.cylinder.water_l)
            return state._replace(gas=gas._replace(cylinder=gas.cylinder._replace(content_l=content)))
        case "ventilator", "miss_stroke":
            missing = breathing.ventilator._replace(to_miss=int(parameter(event, "count")))
            return state._replace(breathing=breathing._replace(ventilator=missing))
        case "patient", "cough":
            coughing = breathing.patient._replace(coughs_left=int(parameter(event, "count")), cough_ms=0)
            return state._replace(breathing=breathing._replace(patient=coughing))
    return state
