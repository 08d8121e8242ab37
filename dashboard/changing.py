"""A change of settings as a person drafts it on a page: read, compared, checked, sent. Texts stay out."""

import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from dashboard.queries import reading
from ingest.analysis.setting_change import PAIRS_MAX, plan
from ingest.analysis.setting_text import setting_named, steps_of
from ingest.control_client import Client
from ingest.errors import UserError
from ingest.store.reader import SettingsInForce, tables

PRESET = tables.SETTINGS["module.preset"].id
# Kept by procedures of their own (confirmation, calibration, battery test), shown and not set on a page.
KEPT = ("module.", "confirmed.", "discharge.")
KEPT_ENDINGS = ("_gain", "_offset", "_day", ".day", ".proven_minutes")
STORED_WAIT_S, STEP_S = 4.0, 0.1


def is_kept(name: str) -> bool:
    """Tell whether a page only shows a setting."""
    return name.startswith(KEPT) or name.endswith(KEPT_ENDINGS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """Hold a wanted change: {setting: (old, new)} in steps, and why it can't be sent.

    `unreadable`: (setting, text) that is no value. `blocked`: infant, preset_alone, too_many.
    """

    changes: dict[str, tuple[int, int]] = field(default_factory=dict)
    unreadable: tuple[tuple[str, str], ...] = ()
    faults: tuple[tables.SettingFault, ...] = ()
    blocked: str | None = None

    @property
    def may_be_sent(self) -> bool:
        """Tell whether there is something to send and nothing against it."""
        return bool(self.changes) and not (self.unreadable or self.faults or self.blocked)


def draft(in_force: tuple[int, ...], preset: str, typed: Mapping[str, str]) -> Draft:
    """Compare what a person chose and typed, by name of the setting, with the settings in force."""
    wanted, unreadable = _read(typed)
    edits = {name: steps for name, steps in wanted.items() if in_force[tables.SETTINGS[name].id] != steps}
    old = tables.PRESETS[in_force[PRESET]]
    if preset == old:
        return _edited(in_force, edits, unreadable)
    if preset not in tables.PRESETS or preset == "infant":
        return Draft(blocked="infant")
    if edits or unreadable:
        return Draft(blocked="preset_alone")
    after = tables.preset_values(in_force, preset)
    return Draft(changes=_changes(in_force, after), faults=tuple(tables.setting_faults(after)))


def _read(typed: Mapping[str, str]) -> tuple[dict[str, int], tuple[tuple[str, str], ...]]:
    wanted: dict[str, int] = {}
    unreadable: list[tuple[str, str]] = []
    for name, text in typed.items():
        if name not in tables.SETTINGS or is_kept(name):
            continue
        try:
            # A comma is how half of the world writes the point.
            wanted[name] = steps_of(setting_named(name), text.replace(",", ".").replace("−", "-"))
        except UserError:
            unreadable.append((name, text))
    return wanted, tuple(unreadable)


def _edited(
    in_force: tuple[int, ...], edits: Mapping[str, int], unreadable: tuple[tuple[str, str], ...]
) -> Draft:
    after = list(in_force)
    for name, steps in edits.items():
        after[tables.SETTINGS[name].id] = steps
    return Draft(
        changes=_changes(in_force, tuple(after)),
        unreadable=unreadable,
        faults=tuple(tables.setting_faults(tuple(after))) if edits else (),
        blocked="too_many" if len(edits) > PAIRS_MAX else None,
    )


def _changes(old: tuple[int, ...], new: tuple[int, ...]) -> dict[str, tuple[int, int]]:
    return {
        name: (old[row.id], new[row.id])
        for name, row in tables.SETTINGS.items()
        if old[row.id] != new[row.id]
    }


def newest(store: Path, module: int) -> SettingsInForce | None:
    """Return the settings that a module reported last, None when it never did."""
    with reading(store) as reader:
        history = reader.settings_history(module)
    return history[-1] if history else None


def send(
    store: Path, module: int, in_force: tuple[int, ...], wanted: Draft, who: str, why: str
) -> tuple[str, SettingsInForce | None] | None:
    """Send a draft and wait for the module: its result, and the new settings once they are recorded.

    None: no answer in time. Raise UserError when it can't be sent.
    """
    preset = wanted.changes.get("module.preset")
    pairs = {tables.SETTINGS[name].id: new for name, (_, new) in wanted.changes.items()}
    code, body = plan(in_force, pairs if preset is None else {PRESET: preset[1]})
    before = newest(store, module)
    client = Client(store)
    row = client.command(module, code, body, operator=who, reason=why, from_page=True)
    found = client.answered(row)
    if found is None:
        return None
    result = tables.COMMAND_RESULTS[int(found["result"])]
    return result, _stored(store, module, before) if result == "done" else None


def _stored(store: Path, module: int, before: SettingsInForce | None) -> SettingsInForce | None:
    until = time.monotonic() + STORED_WAIT_S
    while time.monotonic() < until:
        found = newest(store, module)
        if found is not None and (before is None or found.version != before.version):
            return found
        time.sleep(STEP_S)
    return None
