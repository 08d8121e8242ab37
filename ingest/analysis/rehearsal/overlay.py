"""Other settings for a rehearsal: laid over every set that was in force, within the same hard bounds."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

from firmware_sim.contract import alarms
from firmware_sim.contract import settings as s
from ingest.analysis.setting_text import assignments, checked, setting_named, steps_of
from ingest.errors import UserError

SWEEP_MAX = 1000


def _of_rows() -> frozenset[str]:
    columns = [(row.limit, row.deadband, row.on_delay, row.off_delay, row.escalate) for row in alarms.ROWS]
    return frozenset(name for row in columns for name in row if isinstance(name, str))


# What the engine itself looks at. Everything else acts on the measurement, which stays as it was recorded.
REHEARSABLE = _of_rows() | {"alarm.pause", "alarm.reminder", "alarm.re_alarm", "confirmed.rate"}
HARD_DELAYS = {
    row.on_delay: row.delay_max
    for row in alarms.ROWS
    if isinstance(row.on_delay, str) and row.delay_max is not None
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlay:
    """Hold settings to try, {id: steps}; empty: those in force."""

    values: dict[int, int]

    def __call__(self, in_force: Sequence[int]) -> Sequence[int]:
        """Return the set in force with these settings laid over it; raise UserError for a contradiction."""
        if not self.values:
            return in_force
        out = list(in_force)
        for setting, steps in self.values.items():
            out[setting] = steps
        return checked(out)

    def text(self) -> str:
        """Return what is tried, in units."""
        named = [f"{s.SETTINGS[one].name} = {s.in_units(one, v).strip()}" for one, v in self.values.items()]
        return ", ".join(named) if named else "the settings in force"


def overlay_of(texts: Sequence[str]) -> Overlay:
    """Return the overlay of NAME=VALUE texts; raise UserError in one sentence for what can't be rehearsed."""
    found = assignments(list(texts))
    for setting, steps in found.items():
        _refuse(s.SETTINGS[setting].name, steps)
    return Overlay(values=found)


def sweep_of(text: str, base: Overlay) -> list[Overlay]:
    """Return the overlays of NAME=FROM:TO:STEPS laid over `base`, both ends included, no double."""
    name, _, rest = text.partition("=")
    row = setting_named(name.strip())
    parts = rest.split(":")
    if row.name in s.CHOICES or len(parts) != 3 or not parts[2].isascii() or not parts[2].isdigit():
        raise UserError(f"'{text}' is no sweep; write NAME=FROM:TO:STEPS, such as oxygen.delay=0:60:31.")
    low, high, count = steps_of(row, parts[0]), steps_of(row, parts[1]), int(parts[2])
    if not 2 <= count <= SWEEP_MAX or high <= low:
        raise UserError(f"'{text}': a sweep goes upwards in 2 to {SWEEP_MAX} steps.")
    wide = Decimal(high - low) / (count - 1)
    values = [low + int((wide * place).to_integral_value(ROUND_HALF_EVEN)) for place in range(count)]
    for steps in (low, high):
        _refuse(row.name, steps)
    return [Overlay(values={**base.values, row.id: steps}) for steps in dict.fromkeys(values)]


def _refuse(name: str, steps: int) -> None:
    if name not in REHEARSABLE:
        raise UserError(
            f"{name} acts on the measurement, not on the alarms; a rehearsal can't tell what it would change."
        )
    hard = HARD_DELAYS.get(name)
    if hard is not None and steps > hard:
        raise UserError(
            f"{name} can't be longer than {hard / 10:g} s, not even in a rehearsal: "
            "that is the hard maximum of its circuit row."
        )
