"""Count the instructions that a second of firmware takes under MicroPython, and what memory it holds.

`python -m tests.support.instruction_counts` writes `hardware_notes/board_counts.json`. Instructions come from
valgrind's callgrind, as differences of two run lengths, so that start-up drops out; they are those of this
machine's instruction set and the same on each run. Needs valgrind, mpy-cross and the interpreter.
"""

import json
import re
import struct
import subprocess
import sys
import tempfile
from pathlib import Path

from firmware_sim import bundle, scenarios
from firmware_sim.contract import digest
from firmware_sim.ports.bridge import wire
from firmware_sim.rig.rig import Rig
from firmware_sim.rig.runtimes import InProcess, find_interpreter
from tests.support.host import Host

TOP = Path(__file__).resolve().parents[2]
FOUND = TOP / "hardware_notes" / "board_counts.json"
DRIVER = TOP / "tests" / "micropython" / "instruction_driver.py"
STANDIN = TOP / "tests" / "micropython" / "standin"
COMMAND = "python -m tests.support.instruction_counts"
# Counted once and not by the second: the driver's part, two run lengths, and what one step of it stands for.
# The step that ends a second does the second's work as well; a power-up builds the firmware anew.
SINGLE = {"second_step": ("whole", 39, 40, 1), "power_up": ("power_up", 1, 4, 1)}
PARTS = ("whole", "beside", "taps", "one_tap", "breathing", "alarms", "sampling", *SINGLE)
EMITTERS = ("bytecode", "native")
# Steps of the two runs: whole seconds, so that each second's work is in the difference.
SHORT, LONG = 20, 70
SCENARIO = "monsoon-night"
HEAP = "2M"


class Recorder(InProcess):
    """Run the firmware, and keep what the board handed to it, step by step."""

    together = False

    def __init__(self):
        super().__init__()
        self.packets = bytearray()

    def start(self, boot, flash):
        """Keep the boot packet."""
        super().start(boot, flash)
        *numbers, off_time_s, seed, key = boot
        fields = (*numbers, -1 if off_time_s is None else off_time_s, seed, len(key))
        self.packets += struct.pack(wire.BOOT, *fields) + key + flash.wear.tobytes() + bytes(flash.memory)

    def step(self, inputs, block):
        """Keep a step's packet."""
        unix_s, unix_ms, is_set, buttons, budget, down, loop_us = inputs
        flags = (1 if is_set else 0) | buttons << 1
        head = (unix_s, unix_ms, flags, budget, len(down), loop_us)
        self.packets += struct.pack(wire.STEP, *head, *wire.pack_slow(block))
        self.packets += (
            block.supply_in.tobytes() + block.supply_out.tobytes() + block.pressure.tobytes() + down
        )
        super().step(inputs, block)


def record(path, steps):
    """Write the first steps of a night on the small board, host included."""
    runtime, host = Recorder(), Host(digest.digest())
    rig = Rig(scenarios.load(SCENARIO), runtime=runtime, profile="small")
    for _ in range(0, steps, 10):
        host.feed(rig.run(10))
        rig.send(host.answer())
    rig.stop()
    path.write_bytes(runtime.packets)


def build(folder, emitter):
    """Compile the firmware, and what feeds it here, as a board would load it."""
    tool = bundle.compiler()
    names = [name for name in bundle.sources() if name.startswith("firmware_sim/")]
    names += [
        f"firmware_sim/ports/bridge/{name}.py" for name in ("__init__", "hal", "main", "mirror", "wire")
    ]
    extra = ["-march=x64", "-X", "emit=native"] if emitter == "native" else []
    for name in names:
        out = folder / (name[:-3] + ".mpy")
        out.parent.mkdir(parents=True, exist_ok=True)
        subprocess.run([tool, *extra, "-s", name, "-o", str(out), str(TOP / name)], check=True)


def run(folder, recording, part, steps, *prefix):
    """Run the driver; return its standard output and error."""
    command = [
        *prefix,
        find_interpreter(),
        "-X",
        f"heapsize={HEAP}",
        str(DRIVER),
        str(recording),
        part,
        str(steps),
    ]
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, env={"MICROPYPATH": f"{folder}:{STANDIN}"}
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout + done.stderr


def instructions(folder, recording, part, steps):
    """Return the instructions of a whole run."""
    said = run(
        folder, recording, part, steps, "valgrind", "--tool=callgrind", "--callgrind-out-file=/dev/null"
    )
    return int(re.search(r"Collected : (\d+)", said)[1])


def counted(folder, recording, part):
    """Return the instructions of one simulated second of a part, or of what SINGLE says of it.

    Reading of the recording is included.
    """
    run_as, short, long, times = SINGLE.get(part, (part, SHORT, LONG, 10))
    few, many = (instructions(folder, recording, run_as, steps) for steps in (short, long))
    return round((many - few) * times / (long - short))


def count(wanted):
    """Return {emitter: {part: instructions a simulated second}}; the cost of reading is taken off.

    wanted: pairs (emitter, part).
    """
    found = {}
    with tempfile.TemporaryDirectory() as name:
        recording = Path(name) / "steps"
        record(recording, LONG)
        for emitter in sorted({emitter for emitter, _ in wanted}):
            folder = Path(name) / emitter
            build(folder, emitter)
            idle = counted(folder, recording, "read")
            found[emitter] = {
                part: counted(folder, recording, part) - (0 if part in SINGLE else idle)
                for other, part in wanted
                if other == emitter
            }
    return found


def main():
    """Count what the command line names (`bytecode/whole`), or all, and write it beside what was known."""
    named = [tuple(word.split("/")) for word in sys.argv[1:]]
    counted = count(named or [(emitter, part) for emitter in EMITTERS for part in PARTS])
    known = json.loads(FOUND.read_text()) if FOUND.exists() else {}
    found = known.setdefault("instructions_a_second", {"command": COMMAND, "scenario": SCENARIO})
    for emitter, parts in counted.items():
        found.setdefault(emitter, {}).update(parts)
    FOUND.write_text(json.dumps(known, indent=1, sort_keys=True) + "\n")


if __name__ == "__main__":
    main()
