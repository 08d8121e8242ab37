"""A module double behind a real pty, and the daemon as a real process."""

import os
import resource
import select
import subprocess
import sys
import threading
import time
import tty
from pathlib import Path

import pytest

from ingest.pipeline import this_contract
from tests.support.module_double import ModuleDouble

TOP = Path(__file__).parents[3]


class PtyModule:
    """A module that streams into a pty at `seconds_per_s` module seconds a second, in its own thread."""

    def __init__(self, seconds_per_s=20.0, **options):
        self.module = ModuleDouble(this_contract(), **options)
        self.seconds_per_s = seconds_per_s
        self.lock = threading.Lock()
        self._stop = threading.Event()
        self.streaming = True
        self.plug_in()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def plug_in(self):
        self._master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(slave)
        self._slave = slave

    def unplug(self):
        with self.lock:
            os.close(self._master)
            os.close(self._slave)
            self._master = -1

    def replug(self):
        with self.lock:
            self.plug_in()

    def _run(self):
        rest, began = b"", time.monotonic()
        made = 0
        while not self._stop.wait(0.005):
            with self.lock:
                if self._master < 0:
                    began, made = time.monotonic(), 0
                    rest = b""
                    continue
                if select.select([self._master], [], [], 0)[0]:
                    self._quietly(lambda: self.module.receive(os.read(self._master, 65536)))
                while self.streaming and made < (time.monotonic() - began) * self.seconds_per_s:
                    self.module.second()
                    made += 1
                rest = rest or self.module.send(limit=4096)
                if rest:
                    rest = rest[self._quietly(lambda data=rest: os.write(self._master, data)) or 0:]

    @staticmethod
    def _quietly(action):
        try:
            return action()
        except (BlockingIOError, OSError):
            return None

    def close(self):
        self._stop.set()
        self._thread.join()
        if self._master >= 0:
            self.unplug()


@pytest.fixture
def pty_module():
    made = []

    def make(**options):
        made.append(PtyModule(**options))
        return made[-1]

    yield make
    for one in made:
        one.close()


@pytest.fixture
def run_ingest():
    """Start `nightkeel ingest` as a process of its own; what still runs at the end is killed by its id."""
    running = []

    def start(*arguments, file_bytes_max=None, environment=None):
        def limit():
            resource.setrlimit(resource.RLIMIT_FSIZE, (file_bytes_max, file_bytes_max))

        process = subprocess.Popen(
            [sys.executable, str(TOP / "nightkeel.py"), "ingest", *map(str, arguments)],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=TOP,
            preexec_fn=None if file_bytes_max is None else limit, env={**os.environ, **(environment or {})})
        running.append(process)
        return process

    yield start
    for process in running:
        if process.poll() is None:
            process.kill()
        process.communicate()


@pytest.fixture
def wait_for():
    def wait(condition, timeout_s=15.0, what="the condition"):
        end = time.monotonic() + timeout_s
        while time.monotonic() < end:
            if condition():
                return
            time.sleep(0.02)
        raise AssertionError(f"{what} did not come true in {timeout_s} s")

    return wait
