"""Record one module in this very process, in virtual time: same pipeline, same writer, durable commits."""

from pathlib import Path

from ingest.errors import UserError
from ingest.host import Host
from ingest.pipeline import Closed, Elapsed, Now, Opened, Pipeline, Received, this_contract
from ingest.store.writer import Writer

# Virtual milliseconds between two commits.
COMMIT_MS = 60_000


class Inline:
    """Feed bytes of a module, get bytes for it. All times are handed in.

    `mono_ms` is time that never jumps, from 0; `utc_ms` what the host believes the date to be. Feed at least
    once in two virtual seconds, or the module believes the link lost; the commit interval is `commit_ms` of
    virtual time. Raise UserError when the store can't be used or the module is refused.
    """

    def __init__(
        self,
        store: str | Path,
        utc_ms: int,
        link: str = "inline",
        site: str = "",
        bed: str = "",
        commit_ms: int = COMMIT_MS,
        key: bytes | None = None,
    ) -> None:
        self.writer = Writer(store, utc_ms)
        self.host = Host(self.writer)
        self._last = Now(0, utc_ms)
        self.link = self.host.attach(Pipeline(link, this_contract(), commit_ms, key), site, bed)
        self.host.handle(self.link, Opened(), self._last)

    def feed(self, data: bytes, mono_ms: int, utc_ms: int) -> bytes:
        """Take what the module sent up to now; return what the host sends to it."""
        now = self._last = Now(mono_ms, utc_ms)
        if data:
            self.host.handle(self.link, Received(data), now)
        self.host.handle(self.link, Elapsed(), now)
        self.host.flush(now)
        if self.link.refusal:
            raise UserError(self.link.refusal)
        return self.link.take()

    def counters(self) -> dict[str, int]:
        """Return what the link counted: bytes, frames, records, drops by reason, resend."""
        return dict(self.link.pipeline.counts().counters)

    def close(self) -> bytes:
        """Commit the rest and close the store; return the last acknowledgement."""
        now = self._last
        try:
            # Committed while the session still stands, so that the module is told.
            self.link.pipeline.commit_ms = 0
            self.host.handle(self.link, Elapsed(), now)
            self.host.flush(now)
            said = self.link.take()
            self.host.handle(self.link, Closed("ended"), now)
            self.host.flush(now)
        finally:
            self.writer.close()
        return said
