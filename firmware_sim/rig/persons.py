"""What persons at the bedside tell the module: commands on the line, beside those of the host."""

from collections.abc import Callable, Iterable

from firmware_sim.contract import REVISION, channels, commands, digest, frames
from firmware_sim.contract import messages as m

# The operator number of a person at the module itself.
AT_THE_BED = 0


class Persons:
    """Send commands for persons.

    `heard(up)` watches the module for its hello, `watch(down)` the host for its greeting and its numbers, so
    that both may command the same module.
    """

    def __init__(self, key: bytes, send: Callable[[bytes], None], unix_s: Callable[[], int]) -> None:
        self.key, self.send, self.unix_s = key, send, unix_s
        self.begin_life()

    def begin_life(self) -> None:
        """Forget the module's last life."""
        self.hello: tuple[int, ...] | None = None
        self.greeted = False
        self.command_seq = 0
        self.frame_seq = 0
        self.waiting: list[tuple[int, bytes]] = []
        self._up = frames.Splitter()
        self._down = frames.Splitter()

    def heard(self, up: bytes | bytearray) -> None:
        """Look for the hello of this life."""
        for kind, _, _, payload in opened(self._up.feed(bytes(up))):
            decoded = m.decode(kind, payload) if kind == m.HELLO else None
            if decoded is not None:
                self.hello = decoded[0]
                self.frame_seq = 0
        if self.hello is not None:
            waiting, self.waiting = self.waiting, []
            for command, body in waiting:
                self.tell(command, body)

    def watch(self, down: bytes) -> None:
        """Note what the host sends."""
        for kind, seq, _, payload in opened(self._down.feed(down)):
            decoded = m.decode(kind, payload)
            self.greeted = self.greeted or kind == m.HELLO_REQUEST
            self.frame_seq = max(self.frame_seq, seq)
            if kind == m.COMMAND and decoded is not None:
                self.command_seq = max(self.command_seq, decoded[0][1])

    def tell(self, command: int, body: bytes = b"") -> None:
        """Send one command, at once or as soon as the module has said who it is."""
        if self.hello is not None and not self.greeted:
            self.greeted = True
            greeting = m.encode(m.HELLO_REQUEST, (REVISION, *digest.digest()))
            self.send(frames.build(m.HELLO_REQUEST, 0, 0, greeting))
            if self.key:
                # The answer brings the nonce under which the command must be signed.
                self.hello = None
        if self.hello is None:
            self.waiting.append((command, body))
            return
        self.command_seq += 1
        values = (self.hello[3], self.command_seq, self.unix_s(), command, AT_THE_BED, 0)
        self.send(self._frame(m.encode(m.COMMAND, values, body)))

    def _frame(self, payload: bytes) -> bytes:
        if not self.key:
            built: bytes = frames.build(m.COMMAND, 0, 0, payload)
            return built
        assert self.hello is not None
        low, high = self.hello[4], self.hello[5]
        self.frame_seq += 1
        signed: bytes = frames.build(
            m.COMMAND, self.frame_seq, 0, payload, lambda body: frames.mac_of(self.key, low, high, body)
        )
        return signed


def opened(blocks: Iterable[bytes]) -> Iterable[tuple[int, int, int, bytes]]:
    """Yield the good frames among blocks."""
    for block in blocks:
        parsed = frames.parse(block)
        if not isinstance(parsed, str):
            yield parsed


def command_of(action: str, word: str) -> tuple[int, bytes] | None:
    """Return (command, body) for a person's action of a scenario; None for a button."""
    if action == "set_mode":
        return commands.SET_MODE, commands.pack(commands.SET_MODE, (channels.MODES.index(word),))
    if action == "set_preset":
        return commands.SET_PRESET, commands.pack(commands.SET_PRESET, (channels.PRESETS.index(word),))
    if action == "declare_warming_up":
        return commands.DECLARE_WARMING_UP, commands.pack(commands.DECLARE_WARMING_UP, (600,))
    if action == "confirm_limits":
        return commands.CONFIRM_LIMITS, commands.pack(commands.CONFIRM_LIMITS, (1,))
    if action == "start_case":
        return commands.NEW_PATIENT, commands.pack(commands.NEW_PATIENT, (channels.PRESET_ADULT,))
    if action == "end_case":
        return commands.SET_MODE, commands.pack(commands.SET_MODE, (channels.MODE_STANDBY,))
    return None
