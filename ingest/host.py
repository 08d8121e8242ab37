"""Run pipelines against the one writer: effects carried out in order, commits of all links in one go."""

from dataclasses import dataclass, field

from ingest.pipeline import Commit, Committed, Denied, Event, Known, LookUp, Now, Pipeline, Refuse, Send
from ingest.records import Hello
from ingest.store.writer import Writer


@dataclass(slots=True, kw_only=True)
class Attached:
    """One link in the host's care: what is to be written to its port, and why it was refused, if it was."""

    pipeline: Pipeline
    site: str = ""
    bed: str = ""
    outbox: bytearray = field(default_factory=bytearray)
    refusal: str | None = None

    def take(self) -> bytes:
        """Return and forget what is to be written to the port."""
        data = bytes(self.outbox)
        self.outbox.clear()
        return data


class Host:
    """Carry out what pipelines ask for. `flush` puts everything queued on the disk in one transaction."""

    def __init__(self, writer: Writer) -> None:
        self.writer = writer
        self.links: list[Attached] = []
        self._queue: list[tuple[Attached, Commit]] = []

    def attach(self, pipeline: Pipeline, site: str = "", bed: str = "") -> Attached:
        """Take a link into care."""
        link = Attached(pipeline=pipeline, site=site, bed=bed)
        self.links.append(link)
        return link

    def handle(self, link: Attached, event: Event, now: Now) -> None:
        """Step a link's pipeline and carry out the effects; commits wait for `flush`."""
        for effect in link.pipeline.step(event, now):
            match effect:
                case Send(data):
                    link.outbox += data
                case Commit():
                    self._queue.append((link, effect))
                case LookUp(hello):
                    self.flush(now)
                    self.handle(link, self._look_up(link, hello, now), now)
                case Refuse(sentence):
                    link.refusal = sentence

    def _look_up(self, link: Attached, hello: Hello, now: Now) -> Event:
        for other in self.links:
            spoken = other.pipeline.hello
            if other is not link and spoken is not None and spoken.module == hello.module:
                return Denied(
                    f"Module {hello.module:08x} on {link.pipeline.link} is already being recorded from "
                    f"{other.pipeline.link}; name each module's port once."
                )
        return Known(self.writer.open_boot(hello, now.utc, link.site, link.bed))

    @property
    def queued(self) -> int:
        """Return how many records wait for `flush`."""
        return sum(len(kept) for _, commit in self._queue for kept in commit.batch.records.values())

    def flush(self, now: Now) -> None:
        """Commit what is queued, durably, then let each link acknowledge."""
        while self._queue:
            queue, self._queue = self._queue, []
            self.writer.commit([commit.batch for _, commit in queue])
            for link, commit in queue:
                self.handle(link, Committed(commit.batch.boot, commit.batch.last_seq), now)
