"""One digest of a night: ticks and values of all records, the same at any speed, split and runtime."""

import hashlib

from firmware_sim.contract import frames, log_codes
from firmware_sim.contract import messages as m

# Where a record carries calendar time or the pace of the machine; those bytes count as zero.
_HEALTH_BLANK = (0, 7), (7, 11)


class RecordDigest:
    """Sum up records; `add` takes each once, in sequence. Boot ids and UTC leave no trace.

    `feed` takes the raw bytes of one undisturbed life instead, and drops what comes again.
    """

    def __init__(self) -> None:
        self._sum = hashlib.sha256()
        self._splitter = frames.Splitter()
        self._last = 0
        self.records = 0

    def add(self, kind: int, seq: int, tick: int, payload: bytes) -> None:
        """Add one record."""
        if kind == m.HEALTH:
            payload = _blanked(payload)
        elif kind == m.LOG:
            payload = _log_blanked(payload)
        self._sum.update(kind.to_bytes(1, "little") + seq.to_bytes(4, "little") + tick.to_bytes(4, "little"))
        self._sum.update(payload)
        self.records += 1

    def feed(self, data: bytes) -> None:
        """Add the records among the bytes of a line."""
        for block in self._splitter.feed(data):
            parsed = frames.parse(block)
            if isinstance(parsed, str):
                continue
            kind, seq, tick, payload = parsed
            if kind != m.HELLO and seq > self._last:
                self._last = seq
                self.add(kind, seq, tick, payload)

    def begin_life(self) -> None:
        """Let sequences start over: the module was reset."""
        self._last = 0

    def hexdigest(self) -> str:
        """Return the digest of all that was added."""
        return self._sum.hexdigest()


def _log_blanked(payload: bytes) -> bytes:
    # The text repeats old entries with their calendar time; a set clock notes both times.
    return payload[:1] if payload[0] == log_codes.CLOCK else payload[:9]


def _blanked(payload: bytes) -> bytes:
    out = bytearray(payload)
    for first, last in _HEALTH_BLANK:
        out[first:last] = bytes(last - first)
    return bytes(out)
