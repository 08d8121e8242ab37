"""The one table of guided checks: each step's judge, its time-out, and what the module is told; two lists."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from ingest.analysis.guided import gas_steps, supply_steps
from ingest.analysis.guided.sight import Sight, Verdict

KIND: Final = "check"  # of the marks that hold runs and results
BY_A_PERSON_S: Final = 600
Command = tuple[str, tuple[int, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """Describe one step.

    `needs`: who may begin it: no_breath, patient_off (or a second source confirmed), normal (UPS mode).
    `first`, `again`, `last`: commands to the module at the beginning, at the second asking, at the end.
    `confirm`: a person says whether what the module can't see was right. `by_hand`: a person ends it.
    """

    name: str
    judge: Callable[[Sight], Verdict]
    timeout_s: int
    needs: str = ""
    first: tuple[Command, ...] = ()
    again: Command | None = None
    last: Command | None = None
    confirm: bool = False
    by_hand: bool = False


def _rows(*steps: Step) -> Mapping[str, Step]:
    return MappingProxyType({step.name: step for step in steps})


_DAY_PLACE: Final = -1  # in a command: the day since 1970-01-01

# Time-outs: no source, common practice, but for bypass (60 s, practice of the trade).
STEPS: Final[Mapping[str, Step]] = _rows(
    Step(name="supply", judge=supply_steps.supply_present, timeout_s=120),
    Step(name="out_of_bypass", judge=supply_steps.out_of_bypass, timeout_s=900),
    Step(name="purity", judge=gas_steps.purity, timeout_s=900),
    Step(name="hold", judge=gas_steps.hold, timeout_s=180, needs="no_breath",
         first=(("pressure_hold", (0,)), ("pressure_hold", (1,))), again=("pressure_hold", (2,)),
         last=("pressure_hold", (0,))),
    Step(name="alarms", judge=gas_steps.alarm_drilled, timeout_s=180, confirm=True),
    Step(name="gauge", judge=gas_steps.gauge_entered, timeout_s=600),
    *(Step(name=name, judge=gas_steps.person, timeout_s=BY_A_PERSON_S, confirm=True)
      for name in ("bag", "torch", "suction", "second_cylinder")),
    Step(name="taps", judge=supply_steps.taps_in_phase, timeout_s=60, first=(("ask_capture", (0,)),)),
    Step(name="ups_class", judge=supply_steps.class_and_window, timeout_s=120, confirm=True),
    Step(name="input_opened", judge=supply_steps.input_opened, timeout_s=600, needs="patient_off"),
    Step(name="bypass", judge=supply_steps.bypass_seen, timeout_s=60, needs="normal"),
    Step(name="discharge", judge=supply_steps.discharge, timeout_s=8 * 3600, needs="patient_off",
         first=(("battery_test", (1, _DAY_PLACE)),), last=("battery_test", (0, _DAY_PLACE)), by_hand=True),
    Step(name="zero", judge=gas_steps.zero, timeout_s=120, needs="no_breath"),
    Step(name="oxygen_air", judge=gas_steps.oxygen_air, timeout_s=600),
    Step(name="oxygen_high", judge=gas_steps.oxygen_high, timeout_s=900),
)  # fmt: skip

LISTS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "pre_use": (
            "supply", "out_of_bypass", "purity", "hold", "alarms", "gauge", "bag", "torch", "suction",
            "second_cylinder",
        ),
        "commissioning": (
            "taps", "ups_class", "input_opened", "bypass", "out_of_bypass", "discharge", "zero",
            "oxygen_air", "oxygen_high", "alarms", "hold",
        ),
    }
)  # fmt: skip


def command_values(command: Command, now_ms: int) -> tuple[int, ...]:
    """Return the values of a command, the day of `now_ms` put in where one belongs."""
    return tuple(now_ms // 86_400_000 if one == _DAY_PLACE else one for one in command[1])
