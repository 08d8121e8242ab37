"""A site's settings as a file: JSON or TOML, values in units, and an infant preset if the site has one.

{"format": "nightkeel settings 1", "settings": {"pressure.high": "35 cmH2O"}, "infant": {...}}

What belongs to one module or one patient (calibration, confirmed breath, battery test, mode, preset) is not
part of it.
"""

import json
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from firmware_sim.contract import settings as s
from firmware_sim.contract.channels import PRESET_INFANT
from ingest.analysis.setting_text import assignments
from ingest.errors import UserError

FORMAT = "nightkeel settings 1"
BYTES_MAX = 1_000_000
OWN = ("calibration.", "confirmed.", "discharge.", "module.", "battery.proven_minutes", "battery.proven_day",
       "battery.installed_day")  # fmt: skip


def belongs_to_site(name: str) -> bool:
    """Tell whether a setting is part of a site file."""
    return not name.startswith(OWN)


def written(values: Mapping[int, int]) -> dict[str, str]:
    """Return settings as names and texts with units."""
    return {s.SETTINGS[one].name: s.in_units(one, value).strip() for one, value in values.items()}


def write(path: Path, in_force: tuple[int, ...]) -> int:
    """Write the settings in force as a site file; return how many. The ending says JSON or TOML."""
    kept = {row.id: in_force[row.id] for row in s.SETTINGS if belongs_to_site(row.name)}
    content: dict[str, Any] = {"format": FORMAT, "settings": written(kept)}
    if in_force[s.ID_OF["module.preset"]] == PRESET_INFANT:
        content["infant"] = written({one: in_force[one] for one in s.PATIENT_IDS})
    text = _toml(content) if _is_toml(path) else json.dumps(content, indent=2) + "\n"
    if path.exists():
        raise UserError(f"{path} is there already and stays as it is; name another file.")
    path.write_text(text, encoding="utf-8")
    return len(kept)


def read(path: Path, infant: bool = False) -> dict[int, int]:
    """Return {setting id: steps} of a site file, or of its infant preset; raise UserError for any fault."""
    content = _load(path)
    if content.get("format") != FORMAT:
        raise UserError(f'{path} is no settings file; it must say "format": "{FORMAT}".')
    strange = set(content) - {"format", "settings", "infant"}
    if strange:
        raise UserError(f"{path} holds '{min(strange)}', which is not known; keep settings and infant only.")
    wanted = content.get("infant" if infant else "settings")
    if not isinstance(wanted, dict) or not wanted:
        raise UserError(f"{path} holds no {'infant preset' if infant else 'settings'}.")
    flat = _flat(wanted)
    for name in flat:
        if name in s.ID_OF and not belongs_to_site(name):
            raise UserError(f"{path}: {name} belongs to one module or patient, not into a site file.")
    try:
        found = assignments(flat)
    except UserError as error:
        raise UserError(f"{path}: {error}") from None
    if infant:
        return _infant(path, found)
    return found


def _infant(path: Path, found: dict[int, int]) -> dict[int, int]:
    missing = [s.SETTINGS[one].name for one in s.PATIENT_IDS if one not in found and _in_preset(one)]
    other = [s.SETTINGS[one].name for one in found if one not in s.PATIENT_IDS]
    if missing or other:
        fault = f"lacks {missing[0]}" if missing else f"must not hold {other[0]}"
        raise UserError(f"{path}: the infant preset {fault}; nobody guesses infant values.")
    breath = {one: s.SETTINGS[one].adult for one in s.PATIENT_IDS if not _in_preset(one)}
    return {**breath, **found, s.ID_OF["module.preset"]: PRESET_INFANT}


def _in_preset(setting: int) -> bool:
    """Tell whether a site must write it down: a breath that nobody confirmed yet is none of its values."""
    return belongs_to_site(s.SETTINGS[setting].name)


def _flat(wanted: Mapping[str, Any]) -> dict[str, object]:
    """Take [settings.pressure] high = 35 and "pressure.high" = 35 alike; {value, unit} becomes a text."""
    flat: dict[str, object] = {}
    for name, value in wanted.items():
        if isinstance(value, dict) and set(value) == {"value", "unit"}:
            flat[name] = f"{value['value']} {value['unit']}"
        elif isinstance(value, dict):
            flat.update({f"{name}.{inner}": one for inner, one in _flat(value).items()})
        else:
            flat[name] = value
    return flat


def _load(path: Path) -> dict[str, Any]:
    if path.stat().st_size > BYTES_MAX:
        raise UserError(f"{path} is larger than {BYTES_MAX} bytes; that is no settings file.")
    kind = "TOML" if _is_toml(path) else "JSON"
    try:
        text = path.read_text("utf-8")
        found = tomllib.loads(text) if kind == "TOML" else json.loads(text)
    except (ValueError, RecursionError) as error:
        raise UserError(f"{path} is not {kind}: {error}; mend it, or export a fresh file.") from None
    if not isinstance(found, dict):
        raise UserError(f"{path} is not a settings file; export one to see how it looks.")
    return found


def _is_toml(path: Path) -> bool:
    if path.suffix not in (".json", ".toml"):
        raise UserError(f"{path}: name a file that ends in .json or .toml.")
    return path.suffix == ".toml"


def _toml(content: Mapping[str, Any]) -> str:
    lines = [f'format = "{content["format"]}"']
    for table in ("settings", "infant"):
        if table in content:
            lines += ["", f"[{table}]"] + [f'"{name}" = "{text}"' for name, text in content[table].items()]
    return "\n".join(lines) + "\n"
