"""Measure what the firmware holds in memory, stage by stage, under MicroPython of two word sizes.

`python -m tests.support.memory_counts [PATH/micropython.mjs]` writes into `hardware_notes/board_counts.json`.
The 64-bit interpreter is the tests' own; the 32-bit one is the build for browsers (npm package
`@micropython/micropython-webassembly-pyscript`, run by node), and its figures stay as they were without it.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

from firmware_sim.ports.micropython import pins
from firmware_sim.rig.runtimes import find_interpreter
from tests.support.instruction_counts import FOUND, TOP, build, record

HERE = TOP / "tests" / "micropython"
DRIVER, WASM = HERE / "memory_driver.py", HERE / "memory_wasm.mjs"
COMMAND = "python -m tests.support.memory_counts PATH/micropython.mjs"
STEPS = 600
HEAP = "2M"


def stages(said):
    """Read `name bytes` lines."""
    return {name: int(count) for name, count in (line.split() for line in said.splitlines())}


def held_64(tree, recording, place, heap=HEAP):
    """Return the bytes held after each stage under the 64-bit interpreter."""
    command = [
        find_interpreter(),
        "-X",
        f"heapsize={heap}",
        str(DRIVER),
        str(recording),
        str(pins.RING_BYTES),
    ]
    done = subprocess.run(
        command, cwd=place, capture_output=True, text=True, check=False, env={"MICROPYPATH": str(tree)}
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return stages(done.stdout)


def held_32(tree, recording, library):
    """Return the bytes held after each stage under the 32-bit build."""
    command = ["node", str(WASM), str(library), str(tree), str(recording), str(pins.RING_BYTES), str(DRIVER)]
    return stages(subprocess.run(command, capture_output=True, text=True, check=True).stdout)


def main():
    """Measure and write."""
    known = json.loads(FOUND.read_text()) if FOUND.exists() else {}
    found = known.setdefault("memory", {})
    with tempfile.TemporaryDirectory() as name:
        tree, recording = Path(name) / "tree", Path(name) / "steps"
        build(tree, "bytecode")
        record(recording, STEPS)
        place = Path(name) / "place"
        place.mkdir()
        found["word_64"] = held_64(tree, recording, place)
        if sys.argv[1:]:
            found["word_32"] = held_32(tree, recording, Path(sys.argv[1]))
        files = [path for path in tree.rglob("*.mpy") if "bridge" not in path.parts]
        found["compiled_bytes"] = sum(path.stat().st_size for path in files)
    found.update(command=COMMAND, ring_bytes=pins.RING_BYTES)
    FOUND.write_text(json.dumps(known, indent=1, sort_keys=True) + "\n")


if __name__ == "__main__":
    main()
