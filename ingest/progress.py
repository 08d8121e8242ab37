"""The status line of `nightkeel ingest`: renewed each second on a terminal, changes only elsewhere."""

import time
from typing import TextIO

from ingest.host import Attached, Host

EVERY_S = 1.0


class Progress:
    """Tell a person how the recording goes."""

    def __init__(self, stream: TextIO, quiet: bool = False) -> None:
        self._stream = stream
        self._quiet = quiet
        self._live = stream.isatty() and not quiet
        self._next = 0.0
        self._shown = False

    def say(self, line: str) -> None:
        """Print one line that stays."""
        if not self._quiet:
            self._clear()
            self._stream.write(line + "\n")
            self._stream.flush()

    def show(self, host: Host) -> bool:
        """Renew the line when it is due; always False, so that it fits as a loop's `until`."""
        now = time.monotonic()
        if self._live and now >= self._next:
            self._next = now + EVERY_S
            self._clear()
            self._stream.write(" | ".join(describe(link) for link in host.links)[:160])
            self._stream.flush()
            self._shown = True
        return False

    def end(self) -> None:
        """Leave the cursor on a line of its own."""
        if self._shown:
            self._stream.write("\n")

    def _clear(self) -> None:
        if self._shown:
            self._stream.write("\r\x1b[K")
            self._shown = False


def describe(link: Attached) -> str:
    """Say in a few words how one link does."""
    pipeline = link.pipeline
    hello, counters = pipeline.hello, pipeline.counts().counters
    if link.refusal:
        return f"{pipeline.link}: refused"
    if hello is None:
        return f"{pipeline.link}: waiting for the module"
    dropped = counters["crc"] + counters["stuffing"] + counters["length"] + counters["unknown"]
    simulated = " SIMULATED" if hello.emulated else ""
    return (
        f"module {hello.module:08x}{simulated} {link.bed} {pipeline.state}: {counters['records']} records, "
        f"{dropped} damaged, {counters['resend']} asked again"
    )
