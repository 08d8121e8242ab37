"""Run the firmware behind two pipes until the input ends: `micropython firmware_sim/ports/bridge/main.py`."""

import struct
import sys
from array import array

from firmware_sim import kernels
from firmware_sim.core.app import App
from firmware_sim.core.block import Block
from firmware_sim.ports.bridge import wire
from firmware_sim.ports.bridge.hal import PAGE, StepHal
from firmware_sim.ports.bridge.mirror import MirrorFlash


def read_exactly(stream, count):
    """Return `count` bytes, or None when the stream has ended."""
    data = stream.read(count)
    while data is not None and 0 < len(data) < count:
        more = stream.read(count - len(data))
        if not more:
            return None
        data += more
    return data if data else None


def boot(stream):
    """Read the boot packet; return hal and flash."""
    fields = struct.unpack(wire.BOOT, read_exactly(stream, wire.BOOT_SIZE))
    profile, pages, ring_bytes, memory_free, unique_id, cause, off_time_s, seed, key_size = fields
    key = read_exactly(stream, key_size) if key_size else b""
    wear = array("i", read_exactly(stream, 4 * pages))
    flash = MirrorFlash(bytearray(read_exactly(stream, pages * PAGE)), wear)
    off_time = None if off_time_s < 0 else off_time_s
    hal = StepHal(flash, (profile, pages, ring_bytes, memory_free, unique_id, cause, off_time, seed, key))
    return hal, flash


def begin(stream, hal, block):
    """Read one step packet into hal and block; return False at the end of the stream."""
    head = read_exactly(stream, wire.STEP_SIZE)
    if head is None:
        return False
    fields = struct.unpack(wire.STEP, head)
    unix_s, unix_ms, flags, budget, down_size, loop_us = fields[:6]
    wire.unpack_slow(block, fields[6:])
    samples = array("h", read_exactly(stream, wire.SAMPLES_SIZE))
    tap = len(block.supply_in)
    block.supply_in[:] = samples[:tap]
    block.supply_out[:] = samples[tap:2 * tap]
    block.pressure[:] = samples[2 * tap:]
    down = read_exactly(stream, down_size) if down_size else b""
    hal.begin(unix_s, unix_ms, bool(flags & 1), flags >> 1, budget, down, loop_us)
    return True


def answer(stream, hal, flash):
    """Write one answer packet."""
    unix_s, unix_ms = hal.clock_set or (0, 0)
    flags = (1 if hal.fed else 0) | (2 if hal.clock_set else 0)
    out = bytearray(struct.pack(
        wire.ANSWER, len(hal.up), len(hal.edges), len(flash.operations), flags, unix_s, unix_ms))
    for edge in hal.edges:
        out += struct.pack(wire.EDGE, *edge)
    for page, offset, data in flash.operations:
        out += struct.pack(wire.OPERATION, page, offset, wire.ERASE if data is None else len(data))
        if data is not None:
            out += data
    flash.operations = []
    out += hal.up
    stream.write(out)


def run(down, up):
    """Boot, then step until the input ends."""
    hal, flash = boot(down)
    block = Block()
    app = None
    while begin(down, hal, block):
        if app is None:
            app = App(hal, kernels)
        app.step(block)
        answer(up, hal, flash)
        if hasattr(up, "flush"):
            up.flush()


if __name__ == "__main__":
    run(sys.stdin.buffer, sys.stdout.buffer)
