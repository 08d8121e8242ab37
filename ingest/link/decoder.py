"""Bytes in, frames out; never raises on outside bytes, counts what it dropped, by reason."""

from collections.abc import Callable
from typing import Any

from firmware_sim.contract import frames, messages

# (message id, sequence, raw tick, payload) of a frame whose payload has the length its message demands.
Frame = tuple[int, int, int, bytes]
REASONS = ("stuffing", "short", "crc", "mac", "unknown", "length", "overlong")

_SIZES = {"B": 1, "H": 2, "I": 4, "h": 2, "i": 4}


def _lengths() -> dict[int, tuple[int, int]]:
    # message id -> (bytes of the fields, bytes of one tail element or 0); only what a module may say.
    return {
        message_id: (row[2], _SIZES[row[4][0]] if row[4] else 0)
        for message_id, row in messages.LAYOUTS.items()
        if row[5] == "up"
    }


class Decoder:
    """Turn the byte stream of one module into frames.

    `mac(body) -> 8 bytes` demands authenticated frames, None takes plain ones. `drops` counts by reason,
    'overlong' in bytes, the others in frames. Memory stays below one longest frame.
    """

    def __init__(self, mac: Callable[[bytes], bytes] | None = None) -> None:
        self.mac = mac
        self.drops = dict.fromkeys(REASONS, 0)
        self.frames = 0
        self.bytes = 0
        new: Callable[[], Any] = frames.Splitter
        self._splitter = new()
        self._lengths = _lengths()

    def feed(self, data: bytes) -> list[Frame]:
        """Take any bytes and return the whole, sound frames that they complete."""
        self.bytes += len(data)
        out: list[Frame] = []
        parse: Callable[..., Any] = frames.parse
        mac, lengths, drops = self.mac, self._lengths, self.drops
        for block in self._splitter.feed(data):
            frame = parse(block, mac)
            if isinstance(frame, str):
                drops[frame] += 1
                continue
            expected = lengths.get(frame[0])
            if expected is None:
                drops["unknown"] += 1
                continue
            size, element = expected
            extra = len(frame[3]) - size
            if extra and (extra < 0 or not element or extra % element):
                drops["length"] += 1
                continue
            out.append(frame)
        self.frames += len(out)
        drops["overlong"] = self._splitter.overlong
        return out
