"""Turn a wanted change of settings into the one command that makes it; refuse in words. Pure."""

from collections.abc import Mapping

from firmware_sim.contract import commands
from firmware_sim.contract import settings as s
from ingest.analysis.setting_text import checked
from ingest.errors import UserError

# So many fit into one command; all of a change goes in one, so that it happens whole or not at all.
PAIRS_MAX = 100
MODE, PRESET = s.ID_OF["module.mode"], s.ID_OF["module.preset"]


def plan(now: tuple[int, ...], wanted: Mapping[int, int]) -> tuple[int, bytes]:
    """Return the one command that makes a change; raise UserError when it can't be made or is none."""
    changed = {one: value for one, value in wanted.items() if now[one] != value}
    if not changed:
        raise UserError("That is what is in force already; nothing was sent.")
    for own, code in ((MODE, commands.SET_MODE), (PRESET, commands.SET_PRESET)):
        if own in wanted and not (own == PRESET and len(wanted) > 1 and wanted[PRESET] == 2):
            if len(wanted) > 1:
                raise UserError(f"{s.SETTINGS[own].name} is changed by itself; give it alone.")
            if own == PRESET and wanted[own] == 2:
                raise UserError(
                    "There are no infant values; import a site's own with "
                    "`nightkeel settings import --infant`."
                )
            return code, bytes(commands.pack(code, (wanted[own],)))
    if s.ID_OF["module.unconfirmed"] in changed:
        raise UserError("module.unconfirmed is confirmed at the module, not set.")
    after = list(now)
    for one, value in changed.items():
        after[one] = value
    checked(after)
    # A preset needs every patient setting in its own command, also those that stay as they are.
    pairs = list((wanted if PRESET in wanted else changed).items())
    if len(pairs) > PAIRS_MAX:
        raise UserError(f"{len(pairs)} settings differ; change at most {PAIRS_MAX} at a time.")
    return commands.SET_SETTINGS, bytes(commands.pack(commands.SET_SETTINGS, (), pairs))
