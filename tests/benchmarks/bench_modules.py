"""One daemon, many live modules on pseudo-terminals; the modules replay in another process, at real time."""

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.support.many_modules import record

TOP = Path(__file__).parents[2]
TICKS = os.sysconf("SC_CLK_TCK")


def rows(quick):
    """Yield the daemon's share of a core, and what a record waited at most for its acknowledgement."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        seconds = 30 if quick else 45
        record(folder / "frames", seconds + 5)
        for count in (50,) if quick else (50, 200):
            share, told = measure(folder, count, seconds)
            assert told["acked"] > 0
            yield f"daemon with {count} live modules, share of a core", share * 100, "%", "", None
            yield f"modules that one core carries, from {count}", count / share, "modules", "200", None
            yield f"longest wait for an acknowledgement, {count} modules", told["wait_ms_max"], "ms", "", None


def measure(folder, count, seconds):
    """Return the daemon's share of a core once all links stand, and what the modules say."""
    resource.setrlimit(resource.RLIMIT_NOFILE, (4096, resource.getrlimit(resource.RLIMIT_NOFILE)[1]))
    players = subprocess.Popen(
        [sys.executable, "-m", "tests.support.many_modules", folder / "frames", str(count), str(seconds)],
        cwd=TOP, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    links = json.loads(players.stdout.readline())
    options = [word for link in links for word in ("--link", link)]
    daemon = subprocess.Popen(
        [sys.executable, str(TOP / "nightkeel.py"), "ingest", *options, "--store",
         str(folder / f"{count}.db"), "--quiet"],
        cwd=TOP,
    )  # fmt: skip
    try:
        players.stdin.write("go\n")
        players.stdin.flush()
        time.sleep(seconds / 3)
        used, began = cpu_s(daemon.pid), time.monotonic()
        time.sleep(seconds / 2)
        share = (cpu_s(daemon.pid) - used) / (time.monotonic() - began)
        told = json.loads(players.stdout.readline())
    finally:
        daemon.terminate()
        assert daemon.wait(60) == 0
        players.communicate("end\n")
    return share, told


def cpu_s(pid):
    """Return the CPU seconds of a process."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / TICKS
