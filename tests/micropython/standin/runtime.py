"""Drive the MicroPython port as a runtime of the rig: codes by a pipe, the serial line by a real pty."""

import os
import select
import struct
import subprocess
import tty
from datetime import UTC, datetime
from pathlib import Path

from firmware_sim.rig.runtimes import Runtime, find_interpreter

HERE = Path(__file__).parent
PACKET = "<8HB6H"
LOG_MAX = 256


class PortRuntime(Runtime):
    """Run a bundle in a folder of its own; `log` has (step, sample, pin, value) of every pin change."""

    def __init__(self, bundle, place, heap):
        super().__init__()
        self.bundle, self.place, self.heap = bundle, place, heap
        self.child = None
        self.log = []
        self.steps = 0
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        os.set_blocking(self.master, False)
        self.slow = [0] * 6

    def start(self, boot, flash):
        """Start the interpreter on main.py."""
        self.stop()
        path = f"{self.bundle}:{HERE}"
        self.child = subprocess.Popen(
            [find_interpreter(), "-X", f"heapsize={self.heap}", str(self.bundle / "main.py")], cwd=self.place,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, pass_fds=[self.master],
            env={**os.environ, "MICROPYPATH": path, "STANDIN_PTY": str(self.master), "TZ": "UTC"})

    def step(self, inputs, block):
        """Send one packet of codes and wait until the firmware has worked on it."""
        unix_s, _, is_set, buttons, _, _, _ = inputs
        date = datetime.fromtimestamp(unix_s if is_set else 946_684_800, UTC)
        head = (date.year, date.month, date.day, date.weekday(), date.hour, date.minute, date.second, 0)
        for index, code in enumerate((block.oxygen, block.rail)):
            self.slow[index] = self.slow[index] if code is None else code
        data = struct.pack(PACKET, *head, buttons, *self.slow)
        codes = [code + 2048 for tap in (block.supply_in, block.supply_out) for code in tap]
        data += struct.pack(f"<{len(codes)}H", *codes) + block.pressure.tobytes()
        if self.steps:
            self._answer(data)
        else:
            self.child.stdin.write(data)
            self.child.stdin.flush()
        self.steps += 1
        self.fed = True

    def _answer(self, data):
        """The answer to a packet comes when the next one is asked for."""
        self.child.stdin.write(data)
        self.child.stdin.flush()
        head = self.child.stdout.read(4)
        assert len(head) == 4, (self.child.communicate()[1] or b"").decode() + head.decode("latin-1")
        count, fed, clocks = struct.unpack("<HBB", head)
        assert count <= LOG_MAX, (head + self.child.communicate()[0]).decode("latin-1")
        assert fed or self.steps == 1
        body = self.child.stdout.read(6 * count)
        self.log += [(self.steps - 1, *entry) for entry in struct.iter_unpack("<3H", body)]
        self.child.stdout.read(16 * clocks)

    def receive(self):
        """Return what the firmware has sent, as a host reads it from the pty."""
        data = b""
        while select.select([self.slave], [], [], 0)[0]:
            data += os.read(self.slave, 65536)
        return data

    def send(self, data):
        """Write to the firmware through the pty."""
        while data:
            data = data[os.write(self.slave, data):]

    def stop(self):
        """End the interpreter by closing its input."""
        if self.child is not None:
            self.child.stdin.close()
            self.child.wait(timeout=10)
            self.child.stdout.close()
            self.child.stderr.close()
        self.child = None

    def close(self):
        """Close the line."""
        self.stop()
        os.close(self.master)
        os.close(self.slave)
