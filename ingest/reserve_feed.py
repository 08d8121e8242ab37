"""Tell each module of the cylinder that a person entered, so that it counts down and alarms by itself.

Once after each entry of gauge or flows, written while a daemon ran or not; again where no answer came. The
command is booked under the name of who made the entry, its reason names the entry.
"""

import math
from collections.abc import Callable

from firmware_sim.contract import commands
from firmware_sim.contract.channels import OXYGEN_STATES
from ingest.analysis.reserves.entries import HAND_KIND, KIND, Entered, entered, entered_marks
from ingest.analysis.reserves.standing import cylinder_reserve
from ingest.errors import UserError
from ingest.host import Attached, Host
from ingest.pipeline import FLOWING, Now
from ingest.store.reader import Mark, open_reader

FROM_CYLINDER = OXYGEN_STATES.index("probably_cylinder")
UNKNOWN = (0, 0, 0)
WORD_MAX = 65_535
# An answer that has not come by then was lost with the link.
ANSWER_WAIT_MS = 20_000
MINUTE_MS = 60_000.0

# Module, command, body, operator, reason, from a page: the row of the command in the store.
Send = Callable[[int, int, bytes, str, str, bool], int]


def told(found: Entered, now_ms: int, *, in_use: bool) -> tuple[int, int, int]:
    """Return the command's values: litres at least, use at most in 0.01 L/min, whether gas is being drawn.

    Drawn: the last two gauge readings fell by more than their error. What was drawn since the gauge was read
    is taken off. Zeros: gauge or flows are not entered, or nothing empties it.
    """
    reserve = cylinder_reserve(found, now_ms, in_use=in_use)
    if reserve is None or reserve.rate_high_l_min <= 0.0:
        return UNKNOWN
    drawn = found.rate is not None and found.rate.told
    litres = reserve.content.low_l
    if drawn and not in_use:
        litres -= reserve.rate_high_l_min * max(now_ms - found.readings[-1].at_ms, 0) / MINUTE_MS
    rate = min(math.ceil(reserve.rate_high_l_min * 100), WORD_MAX)
    return min(max(math.floor(litres), 0), WORD_MAX), rate, int(drawn)


class ReserveFeed:
    """Look after the modules of one host: `elapsed()` now and then, `look()` after a mark was written."""

    def __init__(self, host: Host, clock: Callable[[], Now], send: Send) -> None:
        self._host = host
        self._clock = clock
        self._send = send
        # The boot that was looked at, by module; taken away when there may be something to tell.
        self._settled: dict[int, int] = {}

    def look(self) -> None:
        """Take up what has just been written."""
        self._settled.clear()
        self.elapsed()

    def elapsed(self) -> None:
        """Tell every module that listens what it does not know yet."""
        for link in self._host.links:
            hello, boot = link.pipeline.hello, link.pipeline.boot
            if hello is None or link.pipeline.state != FLOWING or self._settled.get(hello.module) == boot:
                continue
            if self._tell(link, hello.module):
                self._settled[hello.module] = boot

    def _tell(self, link: Attached, module: int) -> bool:
        """Send what is owed; return whether nothing more is to be done until the next entry or boot."""
        now = self._clock().utc
        entry, newest = self._newest(module), self._sent(module)
        if entry is None:
            return True
        reason = f"reserve entry {entry[0]}"
        if newest is not None and newest[0] == reason:
            if newest[1] is not None:
                return True
            if now - newest[2] < ANSWER_WAIT_MS:
                return False
        values = self._values(module, now)
        if values == UNKNOWN and newest is None:
            return True
        try:
            self._send(
                module, commands.CYLINDER, commands.pack(commands.CYLINDER, values), entry[1], reason, False
            )
        except UserError:
            return True
        return False

    def _values(self, module: int, now_ms: int) -> tuple[int, int, int]:
        with open_reader(self._host.writer.path) as reader:
            latest = reader.latest(module)
            marks: list[Mark] = entered_marks(reader, module, now_ms)
        in_use = latest is not None and latest.codes["oxygen_state"] == FROM_CYLINDER
        return told(entered(marks), now_ms, in_use=in_use)

    def _newest(self, module: int) -> tuple[int, str] | None:
        """Return number and author of the newest entry, changed and removed ones too; None: there is none."""
        row = self._host.writer.connection.execute(
            "SELECT rowid, author FROM mark WHERE module = ? AND (kind = ? OR (kind = ? AND "
            """(data LIKE '%"what": "gauge"%' OR data LIKE '%"what": "oxygen_flow"%'))) """
            "ORDER BY rowid DESC LIMIT 1",
            (module, KIND, HAND_KIND),
        ).fetchone()
        return None if row is None else (int(row[0]), str(row[1]))

    def _sent(self, module: int) -> tuple[str, int | None, int] | None:
        """Return reason, result and time of the newest such command to the module, None: never told."""
        row = self._host.writer.connection.execute(
            "SELECT c.reason, c.result, c.utc FROM host_command c JOIN boot ON boot.id = c.boot "
            "WHERE boot.module = ? AND c.command = ? ORDER BY c.id DESC LIMIT 1",
            (module, commands.CYLINDER),
        ).fetchone()
        return None if row is None else (str(row[0]), row[1], int(row[2]))
