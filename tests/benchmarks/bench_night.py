"""A night from physics to committed rows: how fast, how large. Peer: the same firmware under MicroPython."""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from firmware_sim import scenarios
from firmware_sim.contract import digest
from firmware_sim.rig.rig import Rig
from nightkeel import simulate
from tests.support.host import Host

NIGHT_MB = 25


def rows(quick):
    """Yield speed, size and load of the showcase night, then firmware under both runtimes."""
    hours = 1.0 if quick else 12.0
    with tempfile.TemporaryDirectory() as folder:
        # The kernels are compiled before the clock starts.
        simulate("monsoon-night", 0.02, None, f"{folder}/warm.db", quiet=True)
        began = time.process_time()
        figures = simulate("monsoon-night", hours, None, f"{folder}/night.db", quiet=True)
        cpu_s = time.process_time() - began
        size = Path(f"{folder}/night.db").stat().st_size
        rehearsed = command_cpu_s("rehearse", f"{folder}/night.db", "--set", "oxygen.delay=20", "--json")
    seconds = hours * 3600
    yield (
        f"night of {hours:g} h, world to committed store",
        seconds / cpu_s,
        "x real time",
        ">= 1000, goal 3600",
    )
    yield f"nightkeel rehearse of {hours:g} h, start-up included", rehearsed, "s cpu", "under 2"
    yield "store, scaled to 12 h", size / 1e6 * 12 / hours, "MB", f"< {NIGHT_MB}"
    yield "link load of 23,040 B/s", figures["link_bytes"] / seconds, "B/s", "margin"
    minutes = 0.5 if quick else 3.0
    compiled, interpreted = (firmware_s(runtime, minutes) for runtime in ("cpython", "micropython"))
    yield (
        "firmware and plant, compiled kernels, against the same firmware under MicroPython",
        minutes * 60 / compiled,
        "x real time",
        "",
        interpreted / compiled,
    )


def command_cpu_s(*words):
    """Return the least processor seconds of a command in a process of its own, of five."""
    least = float("inf")
    for _ in range(5):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, "-m", "nightkeel", *words], capture_output=True, check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        least = min(least, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return least


def firmware_s(runtime, minutes):
    """Return the wall seconds that a rig needs for some minutes of the quiet night with one runtime."""
    rig, host = Rig(scenarios.load("quiet-night"), runtime=runtime), Host(digest.digest())
    try:
        host.feed(rig.run(1))
        rig.send(host.answer())
        rig.run(100)
        began = time.perf_counter()
        rig.run(round(minutes * 600))
        return time.perf_counter() - began
    finally:
        rig.stop()
