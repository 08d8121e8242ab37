"""One kernel, three runtimes: plain CPython, numba and MicroPython leave the same bytes in every array.

Under MicroPython the kernels run with the heap locked, so that any allocation raises.
"""

import subprocess
import sysconfig
from array import array
from pathlib import Path

import numpy as np
import pytest

from firmware_sim import kernels
from tests.support.patients import drawn, ventilated
from tests.support.taps import FLAT_TOP, codes, volts

TOP = Path(__file__).resolve().parents[3]
BLOCKS = 60
DRIVER = TOP / "tests" / "micropython" / "kernel_parity.py"


@pytest.fixture(scope="module")
def recorded(tmp_path_factory):
    """Inputs with a dip, a loss, a phase jump, clipping and noise; pressure of three people; sensor codes."""
    rng = np.random.default_rng(77)
    wave = volts(BLOCKS / 10, 50.3, harmonics=FLAT_TOP)
    wave[6400:7000] *= 0.6
    wave[9600:11000] = 0.0
    wave[11000:] = volts(BLOCKS / 10, 49.2, 225.0, phase=2.0)[11000:]
    wave[14000:14600] *= 3.0
    before = codes(wave, 0.6)
    after = codes(volts(BLOCKS / 10, 50.0, harmonics=((3, 0.02, 1.0),)), 0.6, 9)
    pressure = np.concatenate([
        ventilated(rng).pressure[:3000], drawn(rng).pressure[:3000],
        ventilated(rng, hand=True).pressure[:3000],
    ])  # fmt: skip
    pressure_codes = np.clip(np.round((pressure + 30) * 27.3 + rng.normal(0, 0.5, len(pressure))), 0, 4095)
    folder = tmp_path_factory.mktemp("recorded")
    data = np.concatenate([before, after, pressure_codes.astype(np.int16)])
    (folder / "inputs.bin").write_bytes(data.astype("<i2").tobytes())
    return folder / "inputs.bin"


def run_here(space, path):
    scope = {"__name__": "kernel_parity"}
    exec(compile(DRIVER.read_text("utf-8"), str(DRIVER), "exec"), scope)
    return scope["run"](space, str(path), BLOCKS, lambda: None, lambda: None)


def test_numba_equals_cpython(fast, recorded):
    assert run_here(fast, recorded) == run_here(kernels, recorded)


def test_micropython_equals_cpython_and_allocates_nothing(recorded):
    micropython = Path(sysconfig.get_path("scripts")) / "micropython"
    done = subprocess.run(
        [micropython, DRIVER, TOP, recorded, str(BLOCKS)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr + done.stdout
    assert done.stdout.split() == run_here(kernels, recorded)


def test_the_lock_is_felt(recorded, tmp_path):
    """The same driver with an allocation planted in a kernel must fail."""
    planted = tmp_path / "firmware_sim" / "kernels"
    planted.mkdir(parents=True)
    (tmp_path / "firmware_sim" / "__init__.py").write_text("")
    for path in (TOP / "firmware_sim" / "kernels").glob("*.py"):
        text = path.read_text("utf-8")
        if path.name == "breath.py":
            text = text.replace(
                "    state[FOUND] = 0\n", "    state[FOUND] = len([0])\n    state[FOUND] = 0\n", 1
            )
        (planted / path.name).write_text(text)
    micropython = Path(sysconfig.get_path("scripts")) / "micropython"
    done = subprocess.run(
        [micropython, DRIVER, tmp_path, recorded, "10"],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode != 0
    assert "MemoryError" in done.stderr + done.stdout


def test_arrays_are_of_the_two_kinds_that_every_runtime_shares(fast):
    """Unsigned or numpy arrays would differ: numba refuses a kernel on them only at a compile of its own."""
    state = array("i", bytes(4 * 96))
    fast.breath_reset(state, 1, 1000)
    assert state[1] == 1
