"""What a step may look at: the module's record from the step's beginning on, read only where asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Final, Protocol

import numpy as np
from numpy.typing import NDArray

from firmware_sim.contract.channels import MODES, OXYGEN_STATES, SUPPLY_STATES
from firmware_sim.contract.settings import ID_OF, SETTINGS, defaults

WAITING, PASSED, FAILED = "waiting", "passed", "failed"
BREATH_MS: Final = 60_000  # a circuit is in use when a breath was seen within this: the module's own rule
Floats = NDArray[np.float64]


class Store(Protocol):
    """What is asked of a store's reader; rows as it returns them."""

    def trends(self, module: int, start: int, end: int, quantities: Sequence[str] | None = ...) -> Any:
        """Return the trends of each second."""

    def bands(self, module: int, start: int, end: int, column: str) -> Sequence[Any]:
        """Return the stretches of one code."""

    def breaths(self, module: int, start: int, end: int) -> Any:
        """Return the breaths."""

    def alarm_transitions(self, module: int, start: int, end: int) -> Sequence[Any]:
        """Return every alarm transition."""

    def captures(self, module: int, start: int, end: int, kind: int | None = ...) -> Sequence[Any]:
        """Return the waveforms that begin in the window."""

    def settings_at(self, module: int, utc_ms: int) -> Any:
        """Return the settings in force, None when none were reported."""

    def marks(self, module: int | None = ..., *, kind: str | None = ...) -> Sequence[Any]:
        """Return the newest version of each mark by time."""

    def latest(self, module: int) -> Any:
        """Return the newest trend, None before the first."""

    def calibrations(self, module: int) -> Sequence[Any]:
        """Return every calibration that the module reported, oldest first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Say how a step stands: a text key with parameters, the figure with unit and decimals, and its time.

    `value` None where there is no figure yet; `at_ms` None: now.
    """

    state: str
    key: str
    params: Mapping[str, object] = field(default_factory=lambda: MappingProxyType({}))
    value: float | None = None
    unit: str = ""
    digits: int = 1
    at_ms: int | None = None


class Sight:
    """Look at the record of one module from `start` up to `end`, UTC ms."""

    def __init__(self, store: Store, module: int, start: int, end: int) -> None:
        self.store, self.module, self.start, self.end = store, module, start, end

    def seconds(self, *names: str) -> Any:
        """Return the trends of each second since the beginning."""
        return self.store.trends(self.module, self.start, self.end + 1, names)

    def newest(self, name: str, seconds: int) -> Floats | None:
        """Return the last seconds of a quantity's mean; None until so many are there, newest included."""
        first = max(self.start, self.end - (seconds + 5) * 1000)
        values = self.store.trends(self.module, first, self.end + 1, [name]).mean[name][-seconds:]
        return None if len(values) < seconds or np.isnan(values).any() else values

    def states(self, column: str = "supply_state") -> list[tuple[int, int, str]]:
        """Return (start, end, name) of each stretch of a code since the beginning."""
        names = SUPPLY_STATES if column == "supply_state" else OXYGEN_STATES
        found = self.store.bands(self.module, self.start, self.end + 1, column)
        return [(one.start, one.end, names[one.code]) for one in found]

    def setting(self, name: str) -> float:
        """Return a setting in force in its unit; the default where the module never reported any."""
        found = self.store.settings_at(self.module, self.end)
        row = SETTINGS[ID_OF[name]]
        return float((defaults() if found is None else found.values)[row.id] / row.scale)

    def volts(self, name: str) -> float:
        """Return a supply limit, kept as per cent of nominal, in V."""
        return self.setting(name) * self.setting("supply.nominal_voltage") / 100.0

    def calibration_points(self, channel: str) -> int:
        """Return against how many references a channel's gain and offset in force were set, 0: none."""
        found = [one for one in self.store.calibrations(self.module)
                 if one.channel == channel and one.in_force and one.t <= self.end]  # fmt: skip
        return int(found[-1].points) if found else 0

    def breath_seen(self) -> bool:
        """Tell whether a breath was seen within 60 s of the end."""
        return len(self.store.breaths(self.module, self.end - BREATH_MS, self.end + 1)) > 0

    def patient_may_be_on(self) -> bool:
        """Tell whether somebody may depend on the circuit: a recent breath, or any mode but standby."""
        latest = self.store.latest(self.module)
        in_use = latest is not None and MODES[latest.codes["mode"]] != "standby"
        return in_use or self.breath_seen()
