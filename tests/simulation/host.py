"""The near side: the real pipeline, host, writer and forwarder, moved by virtual time as by the daemon."""

from firmware_sim.contract import commands, settings
from ingest.errors import UserError
from ingest.host import Host
from ingest.pipeline import Closed, Elapsed, Now, Opened, Pipeline, Received, this_contract
from ingest.requests import Requests
from ingest.sinks.background import HALT_S, IDLE_S
from ingest.sinks.forwarder import Forwarder, Halted
from ingest.store.outbox import Outbox, put_place
from ingest.store.writer import Writer
from tests.simulation.disk import Disk, HostDied, restore
from tests.simulation.module import UTC_MS

SINK = "sim"
BATCH_RECORDS = 150


class Stopped(Exception):
    """The process that was asleep in this call is gone."""


class _Here:
    """Run what is submitted at once, on this very thread."""

    def submit(self, action, *arguments):
        """Return the outcome of an action, good or bad."""
        try:
            self.value, self.error = action(*arguments), None
        except Stopped:
            raise
        except Exception as error:
            self.value, self.error = None, error
        return self

    def result(self):
        """Return the value or raise the error."""
        if self.error is not None:
            raise self.error
        return self.value

    def shutdown(self):
        """Have nothing to end."""


class Near:
    """The machine at the bedside: its clock, its disk, and the daemon's process, which may be dead."""

    def __init__(self, sim, path):
        self.sim, self.path, self.faults = sim, path, sim.faults
        chance = self.faults.random
        self.commit_ms = chance.choice((100, 500, 1000, 3000))
        self.offset_ms = chance.choice((0, 0, 700, -3_600_000))
        self.drift_ppm = chance.randrange(-200, 201) if self.faults.allows("clock.host_drift") else 0
        self.process = None
        self.start_at = chance.choice((0, 0, 30, 300))
        self.full_until = 0
        self.deaths = self.steps = 0

    def now(self):
        """Return the host's two times."""
        ms = self.sim.step_number * 100
        ms += ms * self.drift_ppm // 1_000_000
        return Now(ms + 5000, UTC_MS + ms + self.offset_ms)

    def step(self, up):
        """Move the daemon by one round; return what it says to the module."""
        faults, chance = self.faults, self.faults.random
        if faults.hits("clock.host_step", 0.003):
            # No two steps by the same milliseconds: two points of one stamp would be one point to a server.
            self.steps += 1
            self.offset_ms += chance.choice((86_400_000, -365 * 86_400_000, 30_000, -4000)) + 7 * self.steps
        if faults.hits("disk.full", 0.003):
            self.full_until = self.sim.step_number + chance.randrange(5, 100)
        if not faults.active:
            self.full_until = 0
        try:
            if self.process is None:
                if self.sim.step_number < self.start_at and faults.active:
                    return b""
                self.process = Process(self)
            if faults.hits("host.kill", 0.003):
                raise HostDied(self.process.disk.content())
            return self.process.round(up)
        except HostDied as death:
            self._bury(death.left)
        except UserError as error:
            # What a person would read; the service manager starts the daemon again.
            self.sim.note(str(error).split("/")[0])
            self._bury(None)
        return b""

    def _bury(self, left):
        self.deaths += 1
        process, self.process = self.process, None
        if process is not None:
            process.end(left)
        self.start_at = self.sim.step_number + self.faults.random.randrange(1, 60)

    def forward(self):
        """Let the forwarder work if it is due; it may sleep in here while the rest goes on."""
        process = self.process
        if process is None or process.forwarding or self.sim.step_number < process.forward_at:
            return
        process.forwarding = True
        try:
            idle = IDLE_S if not process.forwarder.round() else 0.1
        except Halted:
            idle = HALT_S if self.faults.active else IDLE_S
        except UserError:
            idle = IDLE_S
        except Stopped:
            return
        except HostDied as death:
            if self.process is process:
                self._bury(death.left)
            return
        process.forwarding = False
        process.forward_at = self.sim.step_number + round(idle * 10)


class Process:
    """One run of the daemon."""

    def __init__(self, near):
        self.near, self.sim = near, near.sim
        now = near.now()
        self.writer = Writer(near.path, now.utc)
        self.disk = Disk(self.writer.connection, near.path, near.faults)
        self.writer.connection = self.disk
        self.sim.opened(self.writer)
        self.host = Host(self.writer)
        pipeline = Pipeline("sim", this_contract(), near.commit_ms // 2)
        self.link = self.host.attach(pipeline, "clinic", "3")
        self.requests = Requests(self.host, near.now)
        self.outbox = Outbox(near.path, SINK)
        self.forwarder = Forwarder(
            self.outbox, self._send, save=self._save, sleep=self.sleep, batch_records=BATCH_RECORDS)
        self.forwarder._pool.shutdown()
        self.forwarder._pool = _Here()
        self.forwarding = False
        self.forward_at = self.sim.step_number
        self.open = False
        self.flushed = 0
        self.is_full = False

    def round(self, up):
        """Do what the daemon's loop does in 100 ms."""
        now, host, link = self.near.now(), self.host, self.link
        full = self.sim.step_number < self.near.full_until
        if full != self.is_full:
            self.is_full = full
            (self.disk.fill if full else self.disk.free)()
        if self.open and not self.sim.line.plugged:
            self.open = False
            host.handle(link, Closed("unplugged"), now)
            host.flush(now)
            link.take()
        elif not self.open and self.sim.line.plugged:
            self.open = True
            host.handle(link, Opened(), now)
        if self.open and up:
            host.handle(link, Received(up), now)
        if self.open:
            host.handle(link, Elapsed(), now)
        self._command()
        if now.mono - self.flushed >= self.near.commit_ms:
            self.flushed = now.mono
            host.flush(now)
        assert link.refusal is None, link.refusal
        return link.take() if self.open else b""

    def _command(self):
        hello = self.link.pipeline.hello
        if hello is None or not self.near.faults.hits("module.command", 0.04):
            return
        chance = self.near.faults.random
        limit = chance.randrange(101)
        body = commands.pack(commands.SET_SETTINGS, (), [(settings.ID_OF["sensor.delay"], limit)])
        if self.link.pipeline.state == "flowing":
            self.requests({"do": "command", "module": hello.module, "command": commands.SET_SETTINGS,
                           "body": body.hex(), "operator": "A.B.", "reason": ""})

    def sleep(self, seconds):
        """Let the rest of the world go on for some virtual seconds."""
        until = self.sim.step_number + max(1, round(seconds * 10))
        while self.sim.step_number < until:
            if self.near.process is not self:
                raise Stopped
            self.sim.step()
        if self.near.process is not self:
            raise Stopped

    def _send(self, body):
        answer, seconds = self.sim.server(body)
        if seconds:
            self.sleep(seconds)
        return answer

    def _save(self, place):
        if self.near.process is not self:
            raise Stopped
        with self.writer.transaction() as connection:
            put_place(connection, SINK, place)

    def end(self, left):
        """End without a farewell and leave the disk as it was; `left` None: as it is now."""
        left = left or self.disk.content()
        self.outbox.close()
        self.disk.real.close()
        self.writer._lock.close()
        restore(self.near.path, left)
