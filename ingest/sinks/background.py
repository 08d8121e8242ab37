"""Forward while recording: a thread beside the daemon's loop, which it asks to move the cursor.

A server that is slow or away costs the recording nothing: the thread reads over a connection of its own and
waits by itself.
"""

import threading
from collections.abc import Callable
from pathlib import Path

from ingest.errors import UserError
from ingest.sinks.cursors import Cursors
from ingest.sinks.forwarder import Forwarder, Halted, Sender
from ingest.store.outbox import Outbox

IDLE_S = 2.0
# A server that wants a person is asked again after this, since that person may have mended it.
HALT_S = 60.0
JOIN_S = 3.0


class _Stopping(Exception):
    pass


class Background:
    """Forward one store until `stop`. `send` is closed by the caller afterwards."""

    def __init__(self, store: Path, name: str, send: Sender, report: Callable[[str], None]) -> None:
        self._store = store
        self._name = name
        self._send = send
        self._report = report
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="forward", daemon=True)

    def start(self) -> None:
        """Begin; the daemon must be about to serve its control socket."""
        self._thread.start()

    def stop(self) -> None:
        """Ask the thread to end and wait for it a moment; what is on its way is sent again next time."""
        self._stop.set()
        self._thread.join(JOIN_S)

    def _run(self) -> None:
        outbox = Outbox(self._store, self._name)
        forwarder = Forwarder(
            outbox, self._send, save=Cursors(self._store, self._name).save, sleep=self._sleep
        )
        said = ""
        try:
            while True:
                try:
                    idle = IDLE_S if not forwarder.round() else 0.0
                except Halted as halted:
                    said = self._say_once(said, f"forwarding waits: {halted}")
                    idle = HALT_S
                except UserError:
                    # The daemon is about to end, or busy for longer than a request waits.
                    idle = IDLE_S
                self._sleep(idle)
        except _Stopping:
            return
        finally:
            forwarder.close()
            outbox.close()

    def _say_once(self, said: str, line: str) -> str:
        if line != said:
            self._report(line)
        return line

    def _sleep(self, seconds: float) -> None:
        if self._stop.wait(seconds):
            raise _Stopping
