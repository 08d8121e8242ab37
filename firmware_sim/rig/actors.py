"""Who acts in a scenario beside the plant: persons, the board's misfortunes, the link, the host."""

import heapq
from array import array
from typing import TYPE_CHECKING

from firmware_sim.board import faults
from firmware_sim.contract import STEP_MS, channels, commands
from firmware_sim.contract.settings import ID_OF
from firmware_sim.rig.persons import command_of
from firmware_sim.world.actions import PLANT_ACTORS
from firmware_sim.world.scenario import Event, parameter

if TYPE_CHECKING:
    from firmware_sim.rig.rig import Rig

LASTING = (("board", "offset"), ("board", "gain"), ("board", "program"), ("board", "set_clock"),
           ("host", "set_clock"))
BUTTONS = {"pause": 0, "acknowledge": 1}
NEVER = 1 << 60
STEPS_A_SECOND = 1000 // STEP_MS


def number(event: Event, name: str) -> float:
    """Return a numeric parameter of an event."""
    return float(parameter(event, name))


class Actors:
    """Play the scenario's events that are not the plant's; `next_step` is when the next one is due."""

    def __init__(self, rig: "Rig") -> None:
        self.rig = rig
        self.queue: list[tuple[int, int, Event]] = []
        self.order = 0
        self.next_step = NEVER
        self.torn_steps = 0
        for event in rig.plant.rig_events():
            self.add(event)

    def add(self, event: Event) -> None:
        """Take up an event; those of the plant are left to it."""
        if event.actor in PLANT_ACTORS:
            return
        step = round(event.t_s * STEPS_A_SECOND)
        heapq.heappush(self.queue, (step, self.order, event))
        self.order += 1
        self.next_step = self.queue[0][0]

    def play(self) -> None:
        """Play all that is due."""
        while self.queue and self.queue[0][0] <= self.rig.step:
            self._play(heapq.heappop(self.queue)[2])
        self.next_step = self.queue[0][0] if self.queue else NEVER

    def _play(self, event: Event) -> None:
        if event.actor == "person":
            self._person(event)
        else:
            getattr(self, f"_{event.actor}_{event.action}")(event)

    def catch_up(self) -> None:
        """Play of all that is past only what lasts; misfortunes that are over leave nothing."""
        while self.queue and self.queue[0][0] < self.rig.step:
            event = heapq.heappop(self.queue)[2]
            if (event.actor, event.action) in LASTING or (
                event.actor == "person" and event.action not in BUTTONS
            ):
                self._play(event)
        self.next_step = self.queue[0][0] if self.queue else NEVER

    def _later(self, event: Event, action: str, **params: float | str) -> None:
        """Undo an event when its duration is over; 0 lasts."""
        duration_s = number(event, "duration_s")
        if duration_s > 0:
            after = self.rig.step / STEPS_A_SECOND + duration_s
            self.add(Event(t_s=after, actor=event.actor, action=action, params=params))

    def torn(self) -> None:
        """Go dark: the power cut came in the middle of a write."""
        self.rig.cut_power(self.torn_steps)

    def _person(self, event: Event) -> None:
        if event.action in BUTTONS:
            self.rig.board.press(BUTTONS[event.action], self.rig.step)
            return
        if event.action == "zero_pressure":
            self._zero_pressure()
            return
        if event.action == "set_setting":
            setting, value = ID_OF[str(parameter(event, "name"))], round(number(event, "value"))
            body = commands.pack(commands.SET_SETTINGS, (), ((setting, value),))
            self.rig.persons.tell(commands.SET_SETTINGS, body)
            return
        if event.action == "tell_cylinder":
            litres, rate = round(number(event, "litres")), round(number(event, "l_min") * 100)
            self.rig.persons.tell(commands.CYLINDER, commands.pack(commands.CYLINDER, (litres, rate, 0)))
            return
        word = next((str(value) for value in event.params.values()), "")
        command = command_of(event.action, word)
        assert command is not None, f"nobody plays person {event.action}"
        self.rig.persons.tell(*command)

    def _zero_pressure(self) -> None:
        """Take the mean code of the last second as that of the atmosphere, as a person with the page does."""
        codes = self.rig.board.converter.codes.get(channels.PRESSURE, array("h"))[-STEPS_A_SECOND * 10 :]
        ideal = faults.code_of(channels.PRESSURE, 0.0)
        offset = round(sum(codes) / len(codes)) - ideal if codes else 0
        day = self.rig.now_ms() // 86_400_000
        body = commands.pack(commands.CALIBRATE, (channels.PRESSURE, 16384, offset, day, 1, 0, 50))
        self.rig.persons.tell(commands.CALIBRATE, body)

    # The board.
    def _board_sensor(self, event: Event) -> None:
        channel, fault = str(parameter(event, "channel")), str(parameter(event, "fault"))
        self.rig.touch_converter()
        faults.begin(self.rig.board.converter, channel, fault, number(event, "value"), self.rig.step)
        if fault != "ok":
            self._later(event, "sensor", channel=channel, fault="ok", duration_s=0.0)

    def _board_offset(self, event: Event) -> None:
        self.rig.touch_converter()
        faults.shift(self.rig.board.converter, str(parameter(event, "channel")), number(event, "value"))

    def _board_gain(self, event: Event) -> None:
        self.rig.touch_converter()
        faults.scale(self.rig.board.converter, str(parameter(event, "channel")), number(event, "value"))

    def _board_power_cut(self, event: Event) -> None:
        self.rig.cut_power(round(number(event, "duration_s") * STEPS_A_SECOND))

    def _board_reset(self, event: Event) -> None:
        self.rig.restart()

    def _board_flash_tear(self, event: Event) -> None:
        self.torn_steps = round(number(event, "duration_s") * STEPS_A_SECOND)
        self.rig.board.flash.cut_after(int(parameter(event, "after_bytes")))

    def _board_program(self, event: Event) -> None:
        self.rig.board.program_sound = str(parameter(event, "state")) == "sound"

    def _board_button(self, event: Event) -> None:
        held = round(number(event, "duration_s") * STEPS_A_SECOND)
        self.rig.board.press(BUTTONS[str(parameter(event, "which"))], self.rig.step, held)

    def _board_set_clock(self, event: Event) -> None:
        clock, true_ms = self.rig.board.clock, self.rig.step * STEP_MS
        clock.write(true_ms, max(0, self.rig.now_ms() + round(number(event, "offset_s") * 1000)))

    # The link and the host.
    def _link_unplug(self, event: Event) -> None:
        self.rig.board.unplug()
        self._later(event, "plug")

    def _link_plug(self, event: Event) -> None:
        self.rig.board.plugged = True

    def _host_off(self, event: Event) -> None:
        self.rig.host_is_on = False
        self._later(event, "on")

    def _host_on(self, event: Event) -> None:
        self.rig.host_is_on = True

    def _host_set_clock(self, event: Event) -> None:
        self.rig.host_clock_offset_s = number(event, "offset_s")
