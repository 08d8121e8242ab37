"""The far end of a module's line as a drill needs it: hears records once each, acknowledges, greets."""

from collections.abc import Iterator
from typing import Any

from firmware_sim.contract import REVISION, commands, digest, frames
from firmware_sim.contract import messages as m


class Listener:
    """Feed it what the module sends; send back what `answer()` returns, at least every 5 s.

    `settings`: the numbers in force, as far as the module has told them, by their place.
    """

    def __init__(self) -> None:
        self.hello: tuple[Any, ...] | None = None
        self.greeted: int | None = None
        self.acked = 0
        self.settings: dict[int, int] = {}
        self._splitter = frames.Splitter()

    def feed(self, data: bytes) -> Iterator[tuple[int, int, tuple[Any, ...]]]:
        """Yield (message id, tick, values) of each new record."""
        for block in self._splitter.feed(data):
            parsed = frames.parse(block)
            if isinstance(parsed, str):
                continue
            kind, seq, tick, payload = parsed
            decoded = m.decode(kind, payload)
            if decoded is None:
                continue
            if kind == m.HELLO:
                self._greet(decoded[0])
            elif seq > self.acked:
                self.acked = seq
                if kind == m.SETTINGS:
                    first = decoded[0][m.field_names(m.SETTINGS).index("first")]
                    self.settings.update(enumerate(decoded[1], first))
                yield kind, tick, decoded[0]

    def _greet(self, values: tuple[Any, ...]) -> None:
        if self.hello is None or self.hello[3] != values[3]:
            self.acked = 0
        self.hello = values

    def answer(self) -> bytes:
        """Return a greeting for each new boot, and an acknowledgement, without which no record comes."""
        greeting = b""
        if self.hello is None or self.greeted != self.hello[3]:
            self.greeted = None if self.hello is None else self.hello[3]
            asked = m.encode(m.HELLO_REQUEST, (REVISION, *digest.digest()))
            greeting = bytes(frames.build(m.HELLO_REQUEST, 0, 0, asked))
        if self.hello is None:
            return greeting
        named = frames.build(m.ACK, 0, 0, m.encode(m.ACK, (self.hello[3], self.acked)))
        return greeting + bytes(named)

    def ask_settings(self, command_seq: int) -> bytes:
        """Return what asks the module for the settings in force."""
        assert self.hello is not None
        fields = (self.hello[3], command_seq, 0, commands.ASK_SETTINGS, 0, 0)
        return bytes(frames.build(m.COMMAND, 0, 0, m.encode(m.COMMAND, fields, b"")))

    def digest_differs(self) -> bool:
        """Tell whether the module runs other tables than this program."""
        return self.hello is not None and self.hello[:3] != (REVISION, *digest.digest())
