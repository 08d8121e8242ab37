"""A live bed behind its own control socket, in virtual time: what pages and commands ask is answered at once.

Time passes only when a test plays it, and a little after each command, so that the module can answer. The bed
lives on one thread: its database connection belongs to that.
"""

import queue
import selectors
import threading
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from ingest.control import ControlSocket
from tests.support.live_bed import LiveBed

AFTER_COMMAND_S = 3
SET_UP_S = 600
PATIENCE_S = 120


def hurried(scenario, earlier_s, after_s=SET_UP_S):
    """Return a scenario whose events after `after_s` come earlier: less quiet to play."""
    events = tuple(
        replace(one, t_s=one.t_s - earlier_s) if one.t_s > after_s else one for one in scenario.events
    )
    return replace(scenario, events=events)


class LivePages:
    """Make a LiveBed on a thread and serve it there; `play` and `happen` are done there too."""

    def __init__(self, scenario, path, **options):
        self.path = path
        self._todo = queue.SimpleQueue()
        self._halt = threading.Event()
        self._thread = threading.Thread(target=self._live, args=(scenario, path, options), daemon=True)
        self._thread.start()
        self._do(lambda: None)

    def _do(self, task):
        done = Future()
        self._todo.put((task, done))
        return done.result(PATIENCE_S)

    def _live(self, scenario, path, options):
        bed = LiveBed(scenario, path, **options)
        selector = selectors.DefaultSelector()

        def answer(request):
            found = bed.requests(request)
            if request.get("do") in ("command", "start_case", "end_case"):
                bed.play(AFTER_COMMAND_S)
            return found

        socket = ControlSocket(Path(path), selector, answer)
        self._bed = bed
        while not self._halt.is_set():
            for key, _ in selector.select(0.02):
                key.data()
            while not self._todo.empty():
                task, done = self._todo.get()
                try:
                    done.set_result(task())
                except BaseException as error:
                    done.set_exception(error)
        socket.close()
        selector.close()
        bed.close()

    def clock(self):
        """Return the virtual time, UTC ms."""
        return self._bed.now

    def play(self, seconds):
        """Let virtual time pass."""
        self._do(lambda: self._bed.play(seconds))

    def happen(self, actor, action, **params):
        """Let something happen in the world."""
        self._do(lambda: self._bed.happen(actor, action, **params))

    def stop(self):
        """End the bed."""
        self._halt.set()
        self._thread.join(PATIENCE_S)


@contextmanager
def live_pages(scenario, path, **options):
    """Yield a served bed; end it."""
    pages = LivePages(scenario, path, **options)
    try:
        yield pages
    finally:
        pages.stop()
