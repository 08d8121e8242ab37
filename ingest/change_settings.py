"""Change a module's settings through its running daemon: checked here, obeyed and acknowledged there."""

from pathlib import Path

from firmware_sim.contract import commands
from firmware_sim.contract import settings as s
from ingest.analysis.setting_change import PRESET, plan
from ingest.control_client import Client
from ingest.errors import UserError
from ingest.store.reader import SettingsInForce, open_reader

ANSWER_WAIT_S = 10.0
FOREVER = 1 << 60

__all__ = ["PRESET", "in_force", "plan", "send"]


def in_force(store: str | Path, module: int | None) -> tuple[int, SettingsInForce]:
    """Return the module (None: the only one) and the settings it reported last; raise UserError if none."""
    with open_reader(store) as reader:
        known = [one.id for one in reader.modules()]
        if not known:
            raise UserError(f"{store} holds no module; record into it first.")
        if module is None and len(known) > 1:
            listed = ", ".join(f"{one:08x}" for one in known)
            raise UserError(f"{store} holds several modules; name one with --module: {listed}.")
        chosen = known[0] if module is None else module
        found = reader.settings_at(chosen, FOREVER) if chosen in known else None
    if found is None:
        raise UserError(f"{store} holds no settings of module {chosen:08x}.")
    if len(found.values) != s.COUNT:
        raise UserError(
            f"{store}: module {chosen:08x} reported {len(found.values)} settings, this program knows "
            f"{s.COUNT}; its firmware is of another revision."
        )
    return chosen, found


def send(store: str | Path, module: int, change: tuple[int, bytes], operator: str, reason: str) -> str:
    """Send a change and wait for the module's own answer; return its word, raise UserError for a refusal.

    The daemon writes operator, reason and time down before it sends.
    """
    client = Client(store)
    row = client.command(module, change[0], change[1], operator=operator, reason=reason)
    found = client.answered(row, ANSWER_WAIT_S)
    if found is not None:
        word = commands.RESULTS[int(found["result"])]
        if word != "done":
            said = found["text"] or word.replace("_", " ")
            raise UserError(f"The module refused: {said}. Nothing was changed.")
        return word
    raise UserError(
        f"The module has not answered within {ANSWER_WAIT_S:g} s; look at the module, "
        "`nightkeel settings show` tells what is in force."
    )
