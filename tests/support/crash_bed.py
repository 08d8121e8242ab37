"""Real processes: `nightkeel board` on a pseudo-terminal, `nightkeel ingest` on its other end."""

import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

from firmware_sim.contract import STEP_MS, messages
from firmware_sim.rig.runtimes import InProcess
from firmware_sim.scenarios import load
from ingest.store.schema import RowPacker
from tests.support.store_check import stored

TOP = Path(__file__).parents[2]
PATIENCE_S = 60.0


def wait_for(condition, what, timeout_s=PATIENCE_S):
    """Wait until something is true; fail with what it was."""
    end = time.monotonic() + timeout_s
    while time.monotonic() < end:
        if condition():
            return
        time.sleep(0.05)
    raise AssertionError(f"{what} did not come true in {timeout_s} s")


class Bed:
    """A board's process and the host's, in one folder. What still runs at the end is killed by its id."""

    def __init__(self, folder):
        self.folder = folder
        self.link, self.store = folder / "port", folder / "night.db"
        self.running = []

    def start(self, *arguments, environment=None):
        """Start one `nightkeel` process."""
        process = subprocess.Popen(
            [sys.executable, str(TOP / "nightkeel.py"), *map(str, arguments)], cwd=TOP, text=True,
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, env={**os.environ, **(environment or {})})
        self.running.append(process)
        return process

    def board(self, *arguments, speed=20):
        """Start a board on the pseudo-terminal."""
        process = self.start("board", "--scenario", "quiet-night", "--seed", 7, "--pty-link", self.link,
                             "--speed", speed, *arguments)
        wait_for(self.link.is_symlink, "the board's port")
        return process

    def ingest(self, *arguments, environment=None):
        """Start a daemon."""
        return self.start("ingest", "--link", self.link, "--store", self.store, "--wait", *arguments,
                          environment=environment)

    def cursors(self):
        """Return {boot: last committed sequence}, empty while there is no store."""
        if not self.store.exists():
            return {}
        try:
            with closing(sqlite3.connect(f"file:{self.store}?mode=ro", uri=True)) as connection:
                return dict(connection.execute("SELECT id, last_seq FROM boot"))
        except sqlite3.OperationalError:
            # Not a store yet.
            return {}

    def reach(self, more, boot=1):
        """Wait until so many records more are on the disk."""
        wanted = self.cursors().get(boot, 0) + more
        wait_for(lambda: self.cursors().get(boot, 0) >= wanted, f"{more} records more")

    def end(self, process):
        """Ask a process to stop; return its status and what it said."""
        process.send_signal(signal.SIGTERM)
        _, said = process.communicate(timeout=30)
        return process.returncode, said

    def close(self):
        """Kill what still runs."""
        for process in self.running:
            if process.poll() is None:
                process.kill()
            process.communicate()


def own_record(upto_ms, scenario="quiet-night", seed=7):
    """Return {(kind, tick): payload} of what the same board measures by itself: its own record.

    The same scenario and seed give the same bits in any process, at any pace. What depends on a host (the age
    of its last word, its commands) is left out.
    """
    from firmware_sim.rig.rig import Rig

    rig = Rig(load(scenario), seed, runtime=InProcess())
    rig.run(1)
    ring, made = rig.runtime.app.ring, {}
    put = ring.put

    def watched(kind, tick, payload):
        if kind in MEASURED:
            made[kind, tick] = bytes(payload)
        return put(kind, tick, payload)

    ring.put = watched
    rig.run(upto_ms // STEP_MS)
    rig.stop()
    return made


def check_measured(path, scenario="quiet-night", boot=1):
    """Assert that all that the board measured up to the last stored second is stored, once, unchanged.

    Return how many records were compared.
    """
    found = {}
    for kind, row in stored(path, boot).values():
        if kind in MEASURED:
            assert (kind, row[1]) not in found, f"{messages.LAYOUTS[kind][0]} of {row[1]} ms stands twice"
            found[kind, row[1]] = row
    last = max(tick for kind, tick in found if kind == messages.TREND)
    made = {key: payload for key, payload in own_record(last, scenario).items() if key[1] < last}
    for (kind, tick), payload in made.items():
        assert (kind, tick) in found, f"{messages.LAYOUTS[kind][0]} of {tick} ms is missing"
        row = found[kind, tick]
        assert RowPacker(kind).rows(0, [(0, tick, payload)])[0][1:] == row[1:]
    assert all(key in made for key in found if key[1] < last)
    return len(made)


MEASURED = (messages.TREND, messages.PRESSURE_WAVE, messages.SUPPLY_CYCLES, messages.BREATH)
