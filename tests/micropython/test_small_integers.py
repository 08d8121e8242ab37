"""No allocation where small integers have 31 bits, as on a board: MicroPython's 32-bit build, under node.

The tests' own interpreter has 64-bit words and lets a product of 3 × 2^30 pass. Needed once, and not fetched
by any test: `npm install @micropython/micropython-webassembly-pyscript`, then
MICROPYTHON_WASM=node_modules/@micropython/micropython-webassembly-pyscript/micropython.mjs.
"""

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from firmware_sim import kernels
from firmware_sim.contract import NONE
from tests.firmware_sim.alarms.test_engine import SCRIPT, said_here, wild_night
from tests.firmware_sim.kernels.test_same_everywhere import BLOCKS, DRIVER, TOP, recorded, run_here

__all__ = ["recorded"]
LIBRARY = os.environ.get("MICROPYTHON_WASM", "")
RUNNER = TOP / "tests" / "micropython" / "run_wasm.mjs"
needs_library = pytest.mark.skipif(
    not (shutil.which("node") and Path(LIBRARY).is_file()),
    reason="needs node and MICROPYTHON_WASM, see the head of this file")


def run(script, *words):
    """Run a script in the 32-bit build; return what it printed."""
    done = subprocess.run(["node", RUNNER, LIBRARY, TOP, script, *words], capture_output=True, text=True,
                          timeout=120, check=False)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    return done.stdout


@needs_library
def test_the_engine_allocates_nothing_and_agrees(tmp_path):
    block = wild_night(3, 700)
    script = tmp_path / "steps.py"
    script.write_text(SCRIPT % ",".join(str(value) for value in block))
    assert run(script).splitlines() == said_here(block, 700)


@needs_library
def test_every_kernel_allocates_nothing_and_agrees(recorded):
    assert run(DRIVER, str(recorded), str(BLOCKS)).split() == run_here(kernels, recorded)


def test_no_constant_is_made_of_two_to_the_thirty():
    """1 << 30 is no small integer there, nor is what is reckoned from it: -(1 << 30) + 1 allocates."""
    found = [f"{path.name}: {line.strip()}" for room in ("kernels", "core", "contract")
             for path in sorted((TOP / "firmware_sim" / room).glob("*.py"))
             for line in path.read_text("utf-8").splitlines()
             if re.search(r"1 << 3\d|2 ?\*\* ?3\d", line.split("#")[0]) and path.name not in BYTES_AND_LINK]
    assert found == []
    assert NONE == -(2**30)


# Numbers of 32 bits on the wire are what they are; commands are no part of a step.
BYTES_AND_LINK = {"commands.py", "frames.py"}
