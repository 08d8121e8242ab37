"""Faults that a person may play on an emulated bed while it runs, and the scenario that repeats them."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from firmware_sim.contract import STEP_MS
from firmware_sim.contract.errors import UserError
from firmware_sim.rig.rig import Rig
from firmware_sim.world.scenario import Event, Finding, Scenario, to_json

MINUTE_S = 60.0
# What is written goes on for so long after the last fault, so that its end is in it.
TAIL_S = 600.0
Action = tuple[str, str, Mapping[str, float | str]]

# Each ends by itself; the names are those of the page's buttons.
FAULTS: dict[str, Action] = {
    "pressure_open": ("board", "sensor", {"channel": "pressure", "fault": "open", "duration_s": MINUTE_S}),
    "oxygen_open": ("board", "sensor", {"channel": "oxygen", "fault": "open", "duration_s": MINUTE_S}),
    "circuit_apart": ("circuit", "disconnect", {"duration_s": MINUTE_S}),
    "mains_fails": ("mains", "interruption", {"duration_s": 2 * MINUTE_S}),
    "flash_torn": ("board", "flash_tear", {"after_bytes": 64, "duration_s": 5.0}),
}
# What must be found of each, from the fault on; a torn flash shows only once something is written.
FOUND: dict[str, tuple[str, float, Mapping[str, Any]]] = {
    "pressure_open": ("alarm", 30.0, {"condition": "pressure_sensor_fault"}),
    "oxygen_open": ("alarm", 30.0, {"condition": "oxygen_sensor_fault"}),
    "circuit_apart": ("alarm", 30.0, {"condition": "disconnected", "priority": "high"}),
    "mains_fails": ("supply_event", 2.0, {"tap": "in", "event": "interruption"}),
}


class FaultDesk:
    """Play faults on one rig and keep `file`, a scenario that repeats the night with all of them."""

    def __init__(self, rig: Rig, file: Path) -> None:
        self.rig, self.file = rig, file
        self.played: list[tuple[str, Event]] = []

    def answer(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Answer `{"do": "status"}` or `{"do": "fault", "fault": NAME}`; raise UserError for any other."""
        does: dict[Any, Callable[[Mapping[str, Any]], dict[str, Any]]] = {
            "status": lambda _: self.status(), "fault": lambda asked: self.fault(asked.get("fault")),
        }  # fmt: skip
        if not isinstance(request.get("do"), str) or request["do"] not in does:
            raise UserError("The emulated board knows the requests status and fault only.")
        return does[request["do"]](request)

    def status(self) -> dict[str, Any]:
        """Say which module this is, what is played, and which faults may be asked for."""
        return {
            "emulated": True, "module": self.rig.board.unique_id, "scenario": self.rig.scenario.name,
            "t_s": self.rig.step * STEP_MS / 1000, "faults": list(FAULTS), "file": str(self.file),
            "played": [[name, event.t_s] for name, event in self.played],
        }  # fmt: skip

    def fault(self, name: object) -> dict[str, Any]:
        """Play a fault as soon as it can; return when, in s of the scenario, and the file that repeats it."""
        if not isinstance(name, str) or name not in FAULTS:
            raise UserError(f"There is no such fault; there are {', '.join(FAULTS)}.")
        actor, action, params = FAULTS[name]
        # The plant runs a little ahead: only what it has not played yet can be played the same again.
        event = Event(t_s=self.rig.plant.now_ms / 1000, actor=actor, action=action, params=params)
        self.rig.inject(event)
        self.played.append((name, event))
        self.write()
        return {"t_s": event.t_s, "file": str(self.file)}

    def scenario(self) -> Scenario:
        """Return the night with the faults in it; it begins when this one did."""
        told = self.rig.scenario
        events = (*told.events, *(event for _, event in self.played))
        start = datetime.fromtimestamp(self.rig.start_utc_ms / 1000, UTC).astimezone(ZoneInfo(told.zone))
        last = max((event.t_s for _, event in self.played), default=0.0)
        found = tuple(
            Finding(kind=FOUND[name][0], from_s=event.t_s, to_s=event.t_s + FOUND[name][1],
                    tolerance_s=2.0, values=FOUND[name][2])
            for name, event in self.played if name in FOUND
        )  # fmt: skip
        return replace(
            told, name=f"{told.name}-bench", title=f"{told.title}, with faults played on the bench",
            start=start.replace(tzinfo=None).isoformat(timespec="seconds"), seed=self.rig.plant.seed,
            events=tuple(sorted(events, key=lambda event: event.t_s)),
            duration_s=last + TAIL_S, must_find=found,
        )  # fmt: skip

    def write(self) -> None:
        """Write the scenario; a reader never sees half of it."""
        part = self.file.with_name(self.file.name + ".part")
        try:
            part.write_text(to_json(self.scenario()), encoding="utf-8")
            part.replace(self.file)
        except OSError as error:
            raise UserError(f"{self.file}: {error.strerror}; name another with --played.") from None
