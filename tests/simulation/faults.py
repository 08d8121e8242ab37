"""Where all chance comes from: one seed decides which faults a run may meet, and when each one hits."""

import random
from collections import Counter

# Every switch of the simulator: name -> what it does.
SWITCHES = {
    "link.drop": "bytes vanish on the line, either way",
    "link.flip": "one to three bits change",
    "link.duplicate": "a stretch of bytes comes twice",
    "link.noise": "foreign bytes, even kilobytes without a delimiter",
    "link.stall": "bytes wait for seconds, then come at once",
    "link.unplug": "the plug is out for seconds",
    "clock.host_step": "the host's date jumps by seconds, a day ahead or a year back",
    "clock.host_drift": "the host's clock runs up to 200 ppm fast or slow",
    "clock.module_step": "the module's date jumps or is lost",
    "clock.tick_wrap": "the module's 32-bit millisecond clock wraps during the run",
    "disk.error": "a statement or a commit fails with an I/O error",
    "disk.full": "the database finds no page more for seconds",
    "disk.torn": "the host loses power inside a commit: any sectors of the log's tail are missing",
    "host.kill": "the host's process dies between any two steps, before or after a commit",
    "flash.torn": "power fails in the middle of a flash write or erase, with half-programmed bits",
    "module.reset": "power cut, watchdog or button, the module's memory is gone",
    "module.small_ring": "a ring of seconds instead of minutes",
    "module.command": "settings are changed while all this happens",
    "sink.outage": "the server is away for seconds",
    "sink.slow": "each answer takes seconds",
    "sink.status": "any status of the table, any other, partial writes, Retry-After",
    "sink.refuse": "single lines that the server never takes",
}


class Faults:
    """Draw every fault of one run from one seed; `count` says how often each one hit."""

    def __init__(self, seed):
        self.random = random.Random(seed)
        share = self.random.choice((0.25, 0.5, 0.9))
        self.on = {name: self.random.random() < share for name in SWITCHES}
        # Some runs are mild, some are not: rare faults in quick succession find other things.
        self.fierce = self.random.choice((0.5, 1.0, 3.0))
        self.active = True
        self.count = Counter()

    def hits(self, name, chance):
        """Tell whether a fault hits now."""
        if not (self.active and self.on[name]) or self.random.random() >= chance * self.fierce:
            return False
        self.count[name] += 1
        return True

    def allows(self, name):
        """Tell whether this run has the switch on; for what holds a whole run."""
        if self.on[name]:
            self.count[name] += 1
        return self.on[name]
