"""A real bed in virtual time: world, board, firmware, link, pipeline, store.

`play` lets time pass, `happen` lets something happen in the world; commands and marks go as a daemon's do.
"""

from firmware_sim.contract import commands
from firmware_sim.rig.rig import Rig
from firmware_sim.world.scenario import Event
from ingest.inline import Inline
from ingest.pipeline import Now
from ingest.requests import Requests
from ingest.store.reader import open_reader

ANSWER_S = 20


class LiveBed:
    """Hold one emulated module and the store it is recorded into; `now` is UTC ms."""

    def __init__(self, scenario, path, **options):
        self.rig = Rig(scenario, ahead_steps=10, **options)
        self.path = path
        self.seconds = 0
        self.inline = Inline(path, self.rig.start_utc_ms, site="invented ward", bed="1", commit_ms=1000)
        self.requests = Requests(self.inline.host, lambda: Now(self.seconds * 1000, self.now))

    @property
    def now(self):
        return self.rig.now_ms()

    def play(self, seconds):
        """Let virtual time pass; in a long stretch the host looks every other second."""
        left = round(seconds)
        stride = 2 if left >= 60 else 1
        while left > 0:
            part = min(stride, left)
            left -= part
            self.seconds += part
            up = self.rig.run(10 * part)
            self.rig.send(self.inline.feed(up, self.seconds * 1000, self.rig.host_ms()))
        return self

    def happen(self, actor, action, **params):
        """Let something happen now."""
        self.rig.inject(Event(t_s=self.rig.step / 10 + 0.1, actor=actor, action=action, params=params))
        return self

    @property
    def module(self):
        with open_reader(self.path) as reader:
            return reader.modules()[0].id

    def tell(self, name, values):
        """Send a command; return the name of the module's answer."""
        body = commands.pack(commands.CODE_OF[name], values).hex()
        row = self.requests({
            "do": "command", "module": self.module, "command": commands.CODE_OF[name], "body": body,
            "operator": "AB", "reason": "", "from_page": False,
        })["id"]  # fmt: skip
        for _ in range(ANSWER_S):
            self.play(1)
            found = self.requests({"do": "answer", "id": row})["answer"]
            if found is not None:
                return commands.RESULTS[found["result"]]
        raise AssertionError(f"the module did not answer {name}")

    def note(self, kind, author="AB"):
        """Return a function that writes marks of a kind."""
        def written(utc, data, text):
            self.requests({"do": "add_mark", "module": self.module, "utc": utc, "kind": kind,
                           "author": author, "text": text, "data": data})  # fmt: skip
        return written

    def clear(self):
        """Take all marks off the pages, so that a bed can serve several tests."""
        with open_reader(self.path) as reader:
            marks = reader.marks()
        for one in marks:
            self.requests({"do": "remove_mark", "mark": one.mark, "author": "test"})

    def close(self):
        self.inline.close()
        self.rig.stop()
