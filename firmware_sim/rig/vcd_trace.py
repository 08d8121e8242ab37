"""A board's life as a value change dump (IEEE 1364): pins, codes, engine and frames on one time line."""

from typing import IO, TYPE_CHECKING, Any

from vcd import VCDWriter

from firmware_sim.contract import STEP_MS, channels, frames
from firmware_sim.ports.bridge.hal import LAMP

if TYPE_CHECKING:
    from firmware_sim.rig.rig import Rig

LAMPS = ("lamp_high", "lamp_medium", "lamp_low", "lamp_paused")
BUTTONS = ("pause_sound", "acknowledge")
ENGINE = ("sounding", "indicated", "pause_left")


class VcdTrace:
    """Write what happens on a rig's board, once set as its `watch`; `close()` ends the file.

    Time in ms from the scenario's start. Codes and buttons stand at the start of their step, the engine and
    the frames at its end; lamps and sounder at their own millisecond of the step that follows. A dark
    board's values are unknown (x). What a child process keeps inside it, the engine's state, stays unknown.
    """

    def __init__(self, file: IO[str], rig: "Rig") -> None:
        comment = f"SIMULATED: scenario {rig.scenario.name}, seed {rig.plant.seed}"
        self.writer = VCDWriter(file, timescale="1 ms", comment=comment, version="nightkeel")
        self.rig = rig
        add = self._add
        self.alive = add("board", "alive", 1)
        self.lamps = [add("pins", name, 1) for name in LAMPS]
        self.frequency = add("pins", "sound_hz", 16)
        self.level = add("pins", "sound_level", 8)
        self.buttons = [add("pins", name, 1) for name in BUTTONS]
        fitted = rig.board.converter.fitted
        self.codes = {row[0]: self.writer.register_var("adc", row[1], "integer", size=16, init="x")
                      for row in channels.CHANNELS if row[0] in fitted}  # fmt: skip
        self.engine = [add("engine", name, 16) for name in ENGINE]
        self.sent = add("link", "frame_type", 8)
        self.count = self.writer.register_var("link", "frames", "integer", size=32, init=0)
        self.frames = 0
        self.splitter = frames.Splitter()
        self.pending: list[tuple[int, Any, int]] = []

    def _add(self, scope: str, name: str, size: int) -> Any:
        return self.writer.register_var(scope, name, "wire", size=size, init="x")

    def __call__(self, step: int) -> None:
        """Note one step that the rig has just played."""
        rig, begin = self.rig, step * STEP_MS
        self._flush(begin)
        alive = rig.board.alive
        self.writer.change(self.alive, begin, int(alive))
        if not alive:
            self._go_dark(begin)
            return
        for index, pin in enumerate(self.buttons):
            self.writer.change(pin, begin, int(step < rig.board.buttons_until[index]))
        self._note_codes(begin)
        end = begin + STEP_MS
        self.pending += [(end + edge[3], *change) for edge in rig.runtime.edges for change in self._pin(edge)]
        app = getattr(rig.runtime, "app", None)
        if app is not None:
            engine = app.system.engine
            told = (engine.sound(), engine.lamp(), max(0, engine.pause_left()))
            self.pending += [(end, pin, value) for pin, value in zip(self.engine, told, strict=True)]
        self._note_frames(end)

    def _pin(self, edge: tuple[int, int, int, int]) -> list[tuple[Any, int]]:
        kind, first, second, _ = edge
        if kind == LAMP:
            return [(self.lamps[first], second)]
        return [(self.frequency, first), (self.level, second)]

    def _note_codes(self, begin: int) -> None:
        block = self.rig.board.block
        slow = {
            channels.OXYGEN: block.oxygen, channels.RAIL: block.rail,
            channels.PRODUCT_PRESSURE: block.product_pressure,
            channels.BATTERY_VOLTAGE: block.battery_voltage, channels.UPS_CURRENT: block.ups_current,
            channels.SURGE_PEAK: block.surge_peak,
            channels.SUPPLY_IN: block.supply_in[-1], channels.SUPPLY_OUT: block.supply_out[-1],
            channels.PRESSURE: block.pressure[-1],
        }  # fmt: skip
        for channel_id, variable in self.codes.items():
            code = slow[channel_id]
            if code is not None:
                self.writer.change(variable, begin, code)

    def _note_frames(self, end: int) -> None:
        """Several frames of one step share its moment; the last type shows, the count tells how many."""
        opened = [frames.parse(block) for block in self.splitter.feed(bytes(self.rig.runtime.up))]
        whole = [found[0] for found in opened if isinstance(found, tuple)]
        if whole:
            self.frames += len(whole)
            self.pending += [(end, self.sent, whole[-1]), (end, self.count, self.frames)]

    def _go_dark(self, begin: int) -> None:
        self.pending.clear()
        for variable in (*self.lamps, self.frequency, self.level, *self.buttons, *self.codes.values(),
                         *self.engine, self.sent):  # fmt: skip
            self.writer.change(variable, begin, "x")

    def _flush(self, upto: int | None) -> None:
        """Write what lies before a moment, or all."""
        later = []
        for change in sorted(self.pending, key=lambda change: change[0]):
            if upto is None or change[0] <= upto:
                self.writer.change(change[1], change[0], change[2])
            else:
                later.append(change)
        self.pending = later

    def close(self) -> None:
        """Write what is left and end the file's time line."""
        self._flush(None)
        self.writer.close()
