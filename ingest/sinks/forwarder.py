"""Move records from the store to a server: live ones first, then the backlog; the cursor moves behind.

At least once: a cut between sending and moving the cursor sends some lines again, with the same tags and the
same time stamp, and the server keeps one. A line that the server refuses even alone is counted and left out.
"""

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Protocol

from ingest.sinks.outcomes import ACCEPTED, HALTED, RETRY, SPLIT, Answer, outcome, wait_s
from ingest.store.outbox import Outbox, Place

# Records that one request covers at most; about a quarter of them become a line of 400 bytes.
BATCH_RECORDS = 40_000
# Live records behind a longer backlog than this are sent ahead of it.
LIVE_RECORDS = 2000


class Sender(Protocol):
    """Send one body of lines, return the answer; never raise for what the net or the server does."""

    def __call__(self, body: bytes) -> Answer: ...


class Halted(Exception):
    """The server wants a person; the text says what for. Nothing was lost, the cursor stays."""


@dataclass(slots=True, kw_only=True)
class Tally:
    """Count what was done."""

    lines: int = 0
    bytes: int = 0
    requests: int = 0
    retries: int = 0
    rejected: int = 0
    last_problem: str = ""


class Forwarder:
    """Forward one store to one server. `sleep` and `save` are handed in, so that tests needn't wait."""

    def __init__(
        self,
        outbox: Outbox,
        send: Sender,
        *,
        save: Callable[[Place], None] | None = None,
        sleep: Callable[[float], None] = time.sleep,
        batch_records: int = BATCH_RECORDS,
    ) -> None:
        self._outbox = outbox
        self._send = send
        self._save = save or outbox.move
        self._sleep = sleep
        self._batch = batch_records
        self.tally = Tally()
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="send")
        self._ahead: tuple[int, int, int, bytes] | None = None

    def backlog(self) -> int:
        """Return how many records wait."""
        return sum(place.backlog for place in self._outbox.places())

    def round(self) -> int:
        """Send live records and one batch of backlog; return how many records were covered.

        Raise Halted when the server wants a person.
        """
        newest = {place.module: place for place in self._outbox.places()}
        covered = sum(self._live(place) for place in newest.values() if place.backlog)
        for place in self._outbox.places():
            if place.backlog:
                return covered + self._older(place)
        return covered

    def _live(self, place: Place) -> int:
        """Send the newest records of a module's newest boot, ahead of a long backlog if there is one."""
        began = place.live_seq > place.seq
        if not began and place.backlog <= self._batch:
            return self._older(place)
        if not began or place.newest - place.live_seq > self._batch:
            start = place.newest - min(LIVE_RECORDS, self._batch)
            place = replace(place, live_from=start, live_seq=start)
        if place.live_seq >= place.newest:
            return 0
        rejected = self._deliver(self._outbox.body(place.boot, place.live_seq, place.newest))
        self._save(replace(place, live_seq=place.newest, rejected=place.rejected + rejected))
        return place.newest - place.live_seq

    def _older(self, place: Place) -> int:
        end = place.live_from if place.live_seq > place.seq else place.newest
        upto = min(place.seq + self._batch, end)
        body = self._read(place.boot, place.seq, upto)
        if upto == end:
            rejected = self._deliver(body)
        else:
            # While the server takes this batch, the next one is read.
            sending = self._pool.submit(self._deliver, body)
            after = min(upto + self._batch, end)
            self._ahead = (place.boot, upto, after, self._outbox.body(place.boot, upto, after))
            rejected = sending.result()
        moved = replace(place, seq=upto, rejected=place.rejected + rejected)
        if place.live_seq > place.seq and upto >= place.live_from:
            # The backlog has met the live stretch.
            moved = replace(moved, seq=place.live_seq, live_from=0, live_seq=0)
        self._save(moved)
        return upto - place.seq

    def _read(self, boot: int, after: int, upto: int) -> bytes:
        ahead, self._ahead = self._ahead, None
        if ahead is not None and ahead[:3] == (boot, after, upto):
            return ahead[3]
        return self._outbox.body(boot, after, upto)

    def close(self) -> None:
        """Wait for what is on its way."""
        self._pool.shutdown()

    def _deliver(self, body: bytes) -> int:
        """Send lines until the server has them all; return how many it refused for good."""
        rejected = 0
        waiting = [body] if body else []
        failures = 0
        while waiting:
            part = waiting.pop()
            answer = self._send(part)
            self.tally.requests += 1
            what, why = outcome(answer)
            if what == ACCEPTED:
                failures = 0
                self.tally.lines += part.count(b"\n") + 1
                self.tally.bytes += len(part)
                continue
            self.tally.last_problem = why
            if what == HALTED:
                raise Halted(f"{why} (it answered {answer.status})")
            if what == RETRY:
                failures += 1
                self.tally.retries += 1
                waiting.append(part)
                self._sleep(wait_s(answer, failures))
            elif what == SPLIT and b"\n" in part:
                waiting += reversed(_halves(part))
            else:
                rejected += 1
                self.tally.rejected += 1
        return rejected


def _halves(lines: bytes) -> tuple[bytes, bytes]:
    """Cut several lines at the line end nearest behind the middle, or the last one before it."""
    middle = len(lines) // 2
    at = lines.find(b"\n", middle)
    if at < 0:
        at = lines.rfind(b"\n", 0, middle)
    return lines[:at], lines[at + 1 :]
