"""One run: faults first, with every promise checked at each step; then healing, and everything must arrive.

Virtual time on one thread. A slow server doesn't stop the world: while the forwarder waits for it, the same
steps go on inside that wait.
"""

import hashlib
import sqlite3
from contextlib import closing

from tests.simulation import checks
from tests.simulation.checks import Broken
from tests.simulation.faults import Faults
from tests.simulation.host import Near
from tests.simulation.line import Line
from tests.simulation.model import Model
from tests.simulation.module import Module
from tests.simulation.server import Server

SETTLE_STEPS = 4000


class Simulation:
    """Play one seed in a folder; `run` raises Broken when a promise is. `trace` is the run's hash."""

    def __init__(self, seed, folder, kernels):
        self.seed = seed
        self.faults = Faults(seed)
        self.step_number = 0
        self.heal_at = self.faults.random.randrange(300, 1200)
        self._hash = hashlib.blake2b(digest_size=8)
        self.path = folder / f"{seed}.db"
        self.model = Model()
        self.checks = checks.make(self)
        self.module = Module(self.faults, kernels, seed)
        self.line = Line(self.faults)
        self.server = Server(self)
        self.near = Near(self, self.path)
        self._down = b""

    def run(self):
        """Play until all is well again; return the trace."""
        while self.step_number < self.heal_at:
            self.advance()
        self._heal()
        target, end = None, self.step_number + SETTLE_STEPS
        while not self._arrived(target):
            if self.step_number >= end:
                raise Broken("settles", f"after {SETTLE_STEPS // 10} s without faults: {self._state(target)}")
            self.advance()
            if self.module.app is not None and (target is None or target[0] is not self.module.life):
                target = (self.module.life, self.module.app.ring.next_seq - 1)
        self._finish()
        return self.trace

    @property
    def trace(self):
        """Return the hash of everything that went over line, disk and net so far."""
        return self._hash.hexdigest()

    def note(self, *what):
        """Add to the trace."""
        self._hash.update(repr(what).encode())

    def advance(self):
        """Step the world, then the forwarder if it is due."""
        self.step()
        self.near.forward()

    def step(self):
        """Let 100 ms pass, for all but the forwarder, and look whether the promises hold."""
        step = self.step_number = self.step_number + 1
        if step >= self.heal_at:
            self._heal()
        self.line.tick(step)
        up = self.module.step(step, self._down)
        up = self.line.carry(0, up, step)
        self._down = self.line.carry(1, self.near.step(up), step)
        self.note(step, up, self._down)
        for check in self.checks:
            check.step()

    def _heal(self):
        self.faults.active = False

    def opened(self, writer):
        """Follow what a new run of the daemon commits."""
        self.model.settle(writer.connection.real)
        found = self.model.differences(writer.connection.real)
        if found:
            raise Broken("the model agrees", found)
        real = writer.commit

        def commit(batches):
            for check in self.checks:
                check.committing(batches)
            self.model.begin(batches)
            real(batches)
            self.model.succeed()
            self.note([(one.boot, one.last_seq) for one in batches])

        writer.commit = commit

    def _arrived(self, target):
        near, module = self.near, self.module
        if target is None or near.process is None or module.app is None:
            return False
        life, seq = target
        if life is not module.life or module.app.ring.acked < seq:
            return False
        place = near.process.outbox.places()
        return all(one.seq >= one.newest or (one.boot == len(place) and one.seq >= seq) for one in place)

    def _state(self, target):
        process, app = self.near.process, self.module.app
        return (f"wanted {target and target[1]}, acknowledged {app and app.ring.acked} "
                f"of {app and app.ring.next_seq - 1}, places {process and process.outbox.places()}")

    def _finish(self):
        for check in self.checks:
            check.settled()
        self.abandon()
        with closing(sqlite3.connect(self.path)) as connection:
            found = self.model.differences(connection)
        if found:
            raise Broken("the model agrees", found)


    def abandon(self):
        """Close what a run that broke off left open."""
        process, self.near.process = self.near.process, None
        if process is not None:
            process.end(None)


def boot_of(sim, boot):
    """Return the life whose boot the store numbers so."""
    if boot not in sim.model.boots:
        row = sim.near.process.writer.connection.real.execute(
            "SELECT boot_id FROM boot WHERE id = ?", (boot,)).fetchone()
        sim.model.boots[boot] = next(one for one in sim.module.lives if one.boot_id == row[0])
    return sim.model.boots[boot]
