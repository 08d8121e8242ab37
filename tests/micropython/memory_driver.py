"""Say what memory holds after each stage of the firmware's life; for MicroPython of any word size.

`micropython memory_driver.py RECORDING RING_BYTES`: prints a line a stage with its name and the bytes held
after a collection. A caller that must return to its own loop for a collection calls `stage(number)` itself.
"""

import gc
import sys

STAGES = ("empty", "kernels", "core", "port", "app", "ten_seconds", "minute")


class Stub:
    """Stands in for a board's pins and converters."""

    OUT = 0

    def __init__(self, *args, **kwargs):
        pass


class Machine:
    """Stands in for the module `machine`."""

    ADC = PWM = Pin = Stub


sys.modules["machine"] = Machine
LIFE = {}


def stage(number, recording="", ring_bytes=0):
    """Go one stage on."""
    name = STAGES[number]
    if name == "kernels":
        from firmware_sim import kernels

        LIFE["kernels"] = kernels
    elif name == "core":
        from firmware_sim.core.app import App

        LIFE["App"] = App
    elif name == "port":
        from firmware_sim.ports.micropython.page_files import PageFiles
        from firmware_sim.ports.micropython.sampler import Sampler

        LIFE["flash"] = PageFiles("flash")
        LIFE["sampler"] = Sampler()
    elif name == "app":
        LIFE["board"] = Board(recording, ring_bytes)
        LIFE["app"] = LIFE["App"](LIFE["board"].hal, LIFE["kernels"])
    elif name == "ten_seconds":
        run(100)
    elif name == "minute":
        run(500)


class Board:
    """Feed the app what was recorded."""

    def __init__(self, recording, ring_bytes):
        from firmware_sim.ports.bridge import main, wire
        from firmware_sim.ports.bridge.hal import StepHal

        self.begin = main.begin
        self.stream = open(recording, "rb")  # noqa: SIM115  (read on in later stages)
        self.stream.seek(wire.BOOT_SIZE + 64 * (4 + 4096))
        self.hal = StepHal(LIFE["flash"], (0, 64, ring_bytes, 40960, 7, 0, None, 1, b""))


def run(steps):
    """Step the firmware."""
    board, block, app = LIFE["board"], LIFE["sampler"].blocks[0], LIFE["app"]
    for _ in range(steps):
        board.begin(board.stream, board.hal, block)
        app.step(block)


def held():
    """Return the bytes that are held."""
    gc.collect()
    return gc.mem_alloc()


def main():
    """Go through all stages."""
    for number, name in enumerate(STAGES):
        stage(number, sys.argv[1], int(sys.argv[2]))
        print(name, held())


if __name__ == "__main__" and len(sys.argv) > 2:
    main()
