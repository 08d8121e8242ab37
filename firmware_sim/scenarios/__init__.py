"""Named nights as data: what happens, and what must be found. All of them are invented.

One file a scenario, `quiet_night.py` for `quiet-night`, with one `SCENARIO`; files that begin with an
underscore are helpers.
"""

import difflib
import importlib
import pkgutil
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from firmware_sim.world.scenario import Scenario, ScenarioError, from_json

__all__ = ["Scenario", "ScenarioError", "load", "names", "start_utc"]

_FILE_BYTES_MAX = 5_000_000


def names() -> list[str]:
    """Return the names of the built scenarios, sorted."""
    found = (module.name for module in pkgutil.iter_modules(__path__) if not module.name.startswith("_"))
    return sorted(name.replace("_", "-") for name in found)


def load(name: str) -> Scenario:
    """Return a scenario by name, or from a JSON file when the name ends in '.json'."""
    if name.endswith(".json"):
        return _load_file(Path(name))
    known = names()
    if name not in known:
        near = difflib.get_close_matches(name, known, 3)
        hint = f"did you mean {' or '.join(near)}?" if near else f"known are {', '.join(known)}."
        raise ScenarioError(f"Unknown scenario {name!r}: {hint}")
    module = importlib.import_module(f"{__name__}.{name.replace('-', '_')}")
    scenario = module.SCENARIO
    assert isinstance(scenario, Scenario)
    return scenario


def _load_file(path: Path) -> Scenario:
    try:
        if path.stat().st_size > _FILE_BYTES_MAX:
            raise ScenarioError(f"Scenario file {path}: larger than {_FILE_BYTES_MAX} bytes; split it.")
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise ScenarioError(
            f"Scenario file {path} can't be read ({error}); check path and permissions."
        ) from None
    scenario = from_json(text, str(path))
    start_utc(scenario)
    return scenario


def start_utc(scenario: Scenario) -> datetime:
    """Return the start as an aware UTC time."""
    try:
        zone = ZoneInfo(scenario.zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ScenarioError(
            f"Scenario {scenario.name}: unknown time zone {scenario.zone!r}; write one like Africa/Kampala."
        ) from None
    try:
        return datetime.fromisoformat(scenario.start).replace(tzinfo=zone).astimezone(UTC)
    except (ValueError, OverflowError):
        raise ScenarioError(
            f"Scenario {scenario.name}: {scenario.start!r} is no date of the calendar; write one like "
            "2026-07-14T19:00:00."
        ) from None
