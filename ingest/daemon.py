"""The only loop: ports, pipelines, the writer, the control socket. One thread, never blocked for long."""

import signal
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from selectors import EVENT_READ, DefaultSelector
from types import FrameType

from ingest.control import ControlSocket
from ingest.errors import UserError
from ingest.host import Attached, Host
from ingest.link.port import Port, PortGone, check_url
from ingest.pipeline import Closed, Contract, Elapsed, Now, Opened, Pipeline, Received, this_contract
from ingest.requests import Requests
from ingest.store.writer import Writer

# Each link's time is looked after this often, and a port that can't be watched is read as often as the other.
TICK_MS = 100
BLIND_S = 0.01
RETRY_FIRST_S = 0.5
RETRY_LAST_S = 10.0
# Records that wait for the disk at most, over all links, before a commit is made out of turn.
FLUSH_RECORDS = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkPlan:
    """Name one module's port, where it stands, and the shared key of a link that leaves the machine."""

    url: str
    site: str = ""
    bed: str = ""
    key: bytes | None = None


@dataclass(slots=True)
class _Line:
    plan: LinkPlan
    url: str
    link: Attached
    port: Port | None = None
    fileno: int | None = None
    retry_s: float = RETRY_FIRST_S
    retry_at: float = 0.0
    missing: str = ""


def clock() -> Now:
    """Return the machine's two times in ms."""
    return Now(int(time.monotonic() * 1000), int(time.time() * 1000))


class Daemon:
    """Record links into one store until told to stop.

    `commit_ms`: at most so often the disk is asked to keep a batch. `wait`: a port that isn't there yet is
    waited for instead of refused. `report` gets a line about whatever a person may want to know.
    """

    def __init__(
        self,
        store: Path,
        plans: list[LinkPlan],
        *,
        commit_ms: int = 1000,
        wait: bool = False,
        report: Callable[[str], None] = lambda line: None,
        contract: Contract | None = None,
    ) -> None:
        """Lock and open the store; raise UserError when it can't be used."""
        urls = [check_url(plan.url, plan.key) for plan in plans]
        if len(set(urls)) != len(urls):
            raise UserError("The same link is named twice; name each module's port once.")
        self._report = report
        self._wait = wait
        self._commit_ms = commit_ms
        self._stopping = False
        self._flushed = self._ticked = 0
        self._unwatched = 0
        self._selector = DefaultSelector()
        self.writer = Writer(store, clock().utc)
        try:
            self.host = Host(self.writer)
            self._requests = Requests(self.host, clock)
            self._control = ControlSocket(self.writer.path, self._selector, self._requests)
        except BaseException:
            self.writer.close()
            raise
        contract = contract or this_contract()
        self.lines = [
            _Line(
                plan,
                url,
                self.host.attach(Pipeline(plan.url, contract, commit_ms // 2, plan.key), plan.site, plan.bed),
            )
            for plan, url in zip(plans, urls, strict=True)
        ]

    def stop(self, signum: int = 0, frame: FrameType | None = None) -> None:
        """Ask the loop to end after its current round; fit for a signal handler."""
        self._stopping = True

    def run(self, until: Callable[[], bool] = lambda: False) -> None:
        """Record until `stop`, SIGTERM, SIGINT or `until()`; raise UserError when no link is left."""
        before = {number: signal.signal(number, self.stop) for number in (signal.SIGTERM, signal.SIGINT)}
        try:
            for line in self.lines:
                self._open(line, first=True)
            while not self._stopping and not until():
                self._round()
            self._finish()
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)
            self._shut()

    def _round(self) -> None:
        for key, _ in self._selector.select(self._pause()):
            key.data()
        now = clock()
        if self._unwatched or now.mono >= self._ticked + TICK_MS:
            self._tick(now)
        if now.mono - self._flushed >= self._commit_ms or self.host.queued > FLUSH_RECORDS:
            self._flushed = now.mono
            self.host.flush(now)
        for line in self.lines:
            if line.link.outbox or line.link.refusal:
                self._after(line, now)

    def _tick(self, now: Now) -> None:
        """Do what is due for every link, whether anything came from it or not."""
        self._ticked = now.mono
        for line in self.lines:
            if line.port is not None and line.fileno is None:
                self._read(line)
            elif line.port is None and not line.link.refusal and now.mono / 1000 >= line.retry_at:
                self._open(line, first=False)
            if line.port is not None:
                self.host.handle(line.link, Elapsed(), now)
            if line.port is not None and line.port.is_behind:
                self._after(line, now)

    def _pause(self) -> float:
        # A port that `select` can't watch is looked at more often.
        return BLIND_S if self._unwatched else max(0, self._ticked + TICK_MS - clock().mono) / 1000

    def _after(self, line: _Line, now: Now) -> None:
        if line.link.refusal and line.port is not None:
            self._drop(line, "refused")
            self._report(line.link.refusal)
            if all(other.link.refusal for other in self.lines):
                raise UserError(line.link.refusal)
        elif line.port is not None:
            try:
                line.port.write(line.link.take())
            except PortGone as gone:
                self._gone(line, str(gone))

    def _open(self, line: _Line, first: bool) -> None:
        try:
            line.port = Port(line.url)
        except UserError as error:
            if first and not self._wait:
                raise
            if str(error) != line.missing:
                line.missing = str(error)
                self._report(f"waiting: {error}")
            self._retry_later(line)
            return
        line.missing = ""
        line.retry_s = RETRY_FIRST_S
        line.fileno = line.port.fileno()
        if line.fileno is None:
            self._unwatched += 1
        else:
            self._selector.register(line.fileno, EVENT_READ, lambda: self._read(line))
        self._report(f"{line.plan.url}: open")
        self.host.handle(line.link, Opened(), clock())

    def _read(self, line: _Line) -> None:
        if line.port is None:
            return
        try:
            data = line.port.read()
        except PortGone as gone:
            self._gone(line, str(gone))
            return
        if data:
            self.host.handle(line.link, Received(data), clock())

    def _gone(self, line: _Line, reason: str) -> None:
        self._report(f"{line.plan.url}: gone ({reason}); trying again")
        self._drop(line, reason)
        self._retry_later(line)

    def _retry_later(self, line: _Line) -> None:
        line.retry_at = time.monotonic() + line.retry_s
        line.retry_s = min(line.retry_s * 2, RETRY_LAST_S)

    def _drop(self, line: _Line, reason: str) -> None:
        now = clock()
        self.host.handle(line.link, Closed(reason), now)
        self.host.flush(now)
        line.link.take()
        if line.port is not None:
            if line.fileno is None:
                self._unwatched -= 1
            else:
                self._selector.unregister(line.fileno)
            line.port.close()
            line.port = None

    def _finish(self) -> None:
        # What is pending is committed and acknowledged while the ports still stand.
        now = clock()
        for line in self.lines:
            line.link.pipeline.commit_ms = 0
            self.host.handle(line.link, Elapsed(), now)
        self.host.flush(now)
        for line in self.lines:
            self._after(line, now)
            if line.port is not None:
                self._drop(line, "stopped")

    def _shut(self) -> None:
        for line in self.lines:
            if line.port is not None:
                line.port.close()
        self._control.close()
        self._selector.close()
        self.writer.close()
