"""A scenario: an invented time at one bed as data, with what must be found in it."""

import difflib
import json
import math
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from firmware_sim.contract import channels
from firmware_sim.contract.errors import UserError
from firmware_sim.world.actions import ACTIONS, ACTORS, PLANT_ACTORS, SETTING_BOUNDS, Parameter, Value
from firmware_sim.world.tick import Settings

# The shape only; the room of physics knows no calendar (`scenarios.start_utc` does).
_START = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d)?")

EVENTS_MAX = 20_000
OPTIONAL = tuple(row[1] for row in channels.CHANNELS[channels.FIRST_OPTIONAL :])
DURATION_S_MAX = 40 * 86_400.0

# Where the plant starts; name -> (default, low, high).
INITIAL: dict[str, tuple[float, float, float]] = {
    "gauge_bar": (137.0, 0.0, 300.0),
    "battery_share": (1.0, 0.0, 1.0),
    "bed": (0.0, 0.0, 1.0),
    "site_ppm": (209_460.0, 0.0, 1e6),
    "cell_share": (1.0, 0.0, 1.0),
    "concentrator_h": (4_200.0, 0.0, 1e6),
    "ups_normal": (0.0, 0.0, 1.0),
    "taps_swapped": (0.0, 0.0, 1.0),
}
SETTING_FIELDS: dict[str, dict[str, Any]] = {
    part: default._asdict() for part, default in Settings()._asdict().items()
}


class ScenarioError(UserError):
    """A scenario that can't be played; the text says what, where and how to mend it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One thing that happens, at seconds after the start."""

    t_s: float
    actor: str
    action: str
    params: Mapping[str, Value] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What must (or must never) be found between two times.

    `kind` is one word of `FINDINGS`; `values` narrow it, numbers as [low, high].
    """

    kind: str
    from_s: float
    to_s: float
    tolerance_s: float = 1.0
    values: Mapping[str, Any] = field(default_factory=dict)
    never: bool = False


# kind -> (what a checker compares, names of its values). Conditions are names of the alarm table; numbers
# stand as [low, high]; taps are those of the module, also when they are swapped.
FINDINGS: dict[str, tuple[str, tuple[str, ...]]] = {
    "supply_event": ("an event found on a tap", ("tap", "event", "residual_pct", "duration_s")),
    "supply_state": ("the inferred state for a share of the window", ("state", "within_s", "at_least_share")),
    "supply_transfers": ("how often the UPS went to stored energy, by behaviour", ("count",)),
    "alarm": ("a condition becomes active in the window", ("condition", "within_s", "priority")),
    "oxygen": ("all readings of the window lie in the range", ("pct",)),
    "oxygen_state": ("the word shown with the reading", ("state",)),
    "breaths": ("how many breaths are found", ("count", "kind")),
    "pressure": ("largest, lowest, resting (median) pressure", ("peak_cmh2o", "low_cmh2o", "rest_cmh2o")),
    "gap": ("a recorded gap; reason 'none': no sample is missing in the end", ("reason",)),
    "unmonitored": ("minutes that nobody measured", ("minutes",)),
    "sound": (
        "sound in every stretch of a length, or how often it starts",
        ("every_s", "activations_per_10_min"),
    ),
    "setting": ("the module reports a setting or a mark", ("name", "value")),
    "order": ("records keep the order of ticks whatever the clocks say", ()),
    "note": ("a sentence that the screens must carry", ("text_key",)),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """One scenario; `settings` and `initial` differ from the defaults, times are seconds from the start.

    `fitted` names the optional channels that the module at this bed has.
    """

    name: str
    title: str
    description: str
    start: str = "2026-07-14T19:00:00"
    zone: str = "Africa/Kampala"
    duration_s: float = 43_200.0
    nominal_v: float = 230.0
    nominal_hz: float = 50.0
    seed: int = 1
    settings: Mapping[str, Mapping[str, Value]] = field(default_factory=dict)
    initial: Mapping[str, float] = field(default_factory=dict)
    fitted: tuple[str, ...] = ()
    statistics: str | None = None
    events: tuple[Event, ...] = ()
    must_find: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what can't be played."""
        _check_head(self)
        for part, values in self.settings.items():
            for name, value in values.items():
                check_setting(self.name, part, name, value)
        for name in self.fitted:
            if name not in OPTIONAL:
                raise ScenarioError(_unknown(self.name, "optional channel", name, OPTIONAL))
        for name, value in self.initial.items():
            _check_initial(self.name, name, value)
        for event in self.events:
            check_event(self.name, event)
        for finding in self.must_find:
            _check_finding(self.name, finding)


def _unknown(where: str, what: str, name: str, known: Any) -> str:
    near = difflib.get_close_matches(str(name), list(known), 3)
    hint = f"did you mean {' or '.join(near)}?" if near else f"known are {', '.join(sorted(known))}."
    return f"Scenario {where}: unknown {what} {name!r}; {hint}"


def _number(where: str, name: str, value: Any, low: float, high: float) -> None:
    good = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    if not good or not low <= value <= high:
        raise ScenarioError(
            f"Scenario {where}: {name} must be a number from {low:g} to {high:g}, not {value!r}."
        )


def _check_head(s: Scenario) -> None:
    if not isinstance(s.start, str) or not _START.fullmatch(s.start):
        raise ScenarioError(
            f"Scenario {s.name}: start {s.start!r} is not a local time like 2026-07-14T19:00:00."
        )
    if not isinstance(s.zone, str):
        raise ScenarioError(f"Scenario {s.name}: zone {s.zone!r} is not a name like Africa/Kampala.")
    _number(s.name, "duration_s", s.duration_s, 0.1, DURATION_S_MAX)
    _number(s.name, "nominal_v", s.nominal_v, *SETTING_BOUNDS["mains.nominal_v"])
    _number(s.name, "nominal_hz", s.nominal_hz, *SETTING_BOUNDS["mains.nominal_hz"])
    _number(s.name, "seed", s.seed, 0, 2**62)
    if s.statistics not in (None, "hospital"):
        raise ScenarioError(
            f"Scenario {s.name}: statistics must be 'hospital' or absent, not {s.statistics!r}."
        )
    if len(s.events) > EVENTS_MAX:
        raise ScenarioError(f"Scenario {s.name}: {len(s.events)} events; at most {EVENTS_MAX} can be played.")


def _check_initial(where: str, name: str, value: Any) -> None:
    if name not in INITIAL:
        raise ScenarioError(_unknown(where, "initial value", name, INITIAL))
    _number(where, f"initial.{name}", value, *INITIAL[name][1:])


def _check_finding(where: str, finding: Finding) -> None:
    if finding.kind not in FINDINGS:
        raise ScenarioError(_unknown(where, "finding", finding.kind, FINDINGS))
    for name in finding.values:
        if name not in FINDINGS[finding.kind][1]:
            known = FINDINGS[finding.kind][1] or ("none",)
            raise ScenarioError(_unknown(where, f"value of finding {finding.kind}", name, known))


def check_setting(where: str, part: str, name: str, value: Any) -> None:
    """Refuse a setting of the plant that doesn't exist or is out of bounds."""
    if part not in SETTING_FIELDS:
        raise ScenarioError(_unknown(where, "part", part, SETTING_FIELDS))
    if name not in SETTING_FIELDS[part]:
        raise ScenarioError(_unknown(where, f"setting of {part}", name, SETTING_FIELDS[part]))
    low, high = SETTING_BOUNDS.get(f"{part}.{name}", (-1e6, 1e6))
    _number(where, f"{part}.{name}", value, low, high)


def check_event(where: str, event: Event) -> None:
    """Refuse an event that can't be played."""
    place = f"{where} at {event.t_s} s"
    if event.actor not in ACTORS:
        raise ScenarioError(_unknown(place, "actor", event.actor, ACTORS))
    _number(where, "event time", event.t_s, 0.0, DURATION_S_MAX)
    if event.action == "set" and event.actor in PLANT_ACTORS:
        for name, value in event.params.items():
            if name == "over_s":
                _number(place, name, value, 0.0, DURATION_S_MAX)
            else:
                check_setting(place, event.actor, name, value)
        return
    rows = ACTIONS[event.actor]
    if event.action not in rows:
        raise ScenarioError(_unknown(place, f"action of {event.actor}", event.action, rows))
    _check_params(place, event, rows[event.action].params)


def _check_params(place: str, event: Event, known: Mapping[str, Parameter]) -> None:
    for name in event.params:
        if name not in known:
            raise ScenarioError(
                _unknown(place, f"parameter of {event.actor} {event.action}", name, known or ("none",))
            )
    for name, row in known.items():
        value = event.params.get(name, row.default)
        if value is None:
            raise ScenarioError(f"Scenario {place}: {event.actor} {event.action} needs {name}.")
        if isinstance(value, str):
            if row.choices and value not in row.choices:
                raise ScenarioError(_unknown(place, name, value, row.choices))
            if not row.choices and row.default != "":
                raise ScenarioError(f"Scenario {place}: {name} must be a number, not {value!r}.")
        elif row.choices:
            raise ScenarioError(_unknown(place, name, str(value), row.choices))
        else:
            _number(place, name, value, row.low, row.high)


def parameter(event: Event, name: str) -> Value:
    """Return a parameter or its default."""
    if name in event.params:
        return event.params[name]
    default = ACTIONS[event.actor][event.action].params[name].default
    assert default is not None, "checked when the scenario was built"
    return default


def to_json(scenario: Scenario) -> str:
    """Return the scenario as a text that `from_json` reads back equal."""
    return json.dumps(asdict(scenario), indent=1, ensure_ascii=False)


def from_json(text: str, where: str = "file") -> Scenario:
    """Read a scenario; a wrong key or value is a ScenarioError."""
    try:
        data = json.loads(text)
    except ValueError as error:
        raise ScenarioError(f"Scenario {where}: not JSON ({error}).") from None
    if not isinstance(data, dict):
        raise ScenarioError(f"Scenario {where}: expected one JSON object.")
    try:
        data["events"] = tuple(Event(**row) for row in data.get("events", ()))
        data["fitted"] = tuple(data.get("fitted", ()))
        data["must_find"] = tuple(Finding(**row) for row in data.get("must_find", ()))
        return Scenario(**data)
    except (TypeError, AttributeError, KeyError) as error:
        raise ScenarioError(f"Scenario {where}: wrong or missing key ({error}).") from None
