"""The far ends of an emulated board's line: a pseudo-terminal, or a TCP port on this machine."""

import contextlib
import os
import select
import socket
import termios
import tty
from abc import ABC, abstractmethod
from pathlib import Path
from urllib.parse import urlsplit

from firmware_sim.contract.errors import UserError

CHUNK = 65_536
# At speeds above 1 the board waits so long for a reader, then talks to nobody until one reads again.
PATIENCE_S = 0.5


class End(ABC):
    """Carry bytes to whoever listens; never blocks longer than asked, drops what nobody takes.

    `address` is what a host opens.
    """

    address: str

    def __init__(self) -> None:
        self.deaf = False
        self.dropped = 0

    @abstractmethod
    def descriptor(self) -> int | None:
        """Return the file descriptor to the listener, None when there is none."""

    def read(self) -> bytes:
        """Return what came in."""
        fd = self.descriptor()
        if fd is None or not select.select([fd], [], [], 0)[0]:
            return b""
        try:
            data = os.read(fd, CHUNK)
        except (BlockingIOError, OSError):
            data = b""
        if not data:
            self.hung_up()
        return data

    def write(self, data: bytes, wait: bool) -> None:
        """Send; with `wait` a reader that is merely slow is waited for."""
        while data:
            fd = self.descriptor()
            if fd is None or not select.select([], [fd], [], PATIENCE_S if wait and not self.deaf else 0)[1]:
                self.deaf = True
                self.dropped += len(data)
                return
            self.deaf = False
            try:
                data = data[os.write(fd, data) :]
            except BlockingIOError:
                continue
            except OSError:
                self.hung_up()

    def hung_up(self) -> None:  # noqa: B027  (a pseudo-terminal has nobody to lose)
        """Forget the listener."""

    @abstractmethod
    def close(self) -> None:
        """Close the line."""


class Pty(End):
    """A pseudo-terminal; `link` is an optional symbolic link to it, replaced if it is one."""

    def __init__(self, link: str | None = None) -> None:
        super().__init__()
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        termios.tcflush(self.slave, termios.TCIOFLUSH)
        os.set_blocking(self.master, False)
        self.address = os.ttyname(self.slave)
        self.link = Path(link) if link else None
        if self.link:
            self._make_link(self.link)

    def _make_link(self, link: Path) -> None:
        if link.exists() and not link.is_symlink():
            self.close()
            raise UserError(f"{link} exists and is no symbolic link; name another path for --pty-link.")
        try:
            link.unlink(missing_ok=True)
            link.symlink_to(self.address)
        except OSError as error:
            self.close()
            raise UserError(f"{link}: {error.strerror}; name another path for --pty-link.") from None

    def descriptor(self) -> int:
        """Return the master's end."""
        return self.master

    def close(self) -> None:
        """Close both ends and take the link away."""
        for fd in (self.master, self.slave):
            with contextlib.suppress(OSError):
                os.close(fd)
        if self.link and self.link.is_symlink() and os.readlink(self.link) == self.address:
            self.link.unlink()


class Tcp(End):
    """A TCP port on the loopback; one listener at a time, others are turned away."""

    def __init__(self, host: str, port: int) -> None:
        super().__init__()
        self.server = socket.create_server((host, port))
        self.server.setblocking(False)
        self.address = f"socket://{host}:{self.server.getsockname()[1]}"
        self.peer: socket.socket | None = None

    def descriptor(self) -> int | None:
        """Return the listener's descriptor; take in a new one."""
        with contextlib.suppress(BlockingIOError):
            while True:
                peer, _ = self.server.accept()
                if self.peer is None:
                    peer.setblocking(False)
                    self.peer = peer
                else:
                    peer.close()
        return self.peer.fileno() if self.peer else None

    def hung_up(self) -> None:
        """Forget the listener."""
        if self.peer:
            self.peer.close()
        self.peer = None

    def close(self) -> None:
        """Close the port."""
        self.hung_up()
        self.server.close()


def open_end(text: str, pty_link: str | None = None) -> End:
    """Open the end named 'pty' or 'tcp://127.0.0.1:PORT'; raise UserError for any other."""
    if text == "pty":
        return Pty(pty_link)
    if pty_link:
        raise UserError("--pty-link goes with --link pty only.")
    parts = urlsplit(text)
    try:
        port = parts.port
    except ValueError:
        port = None
    if parts.scheme != "tcp" or parts.hostname not in ("127.0.0.1", "localhost", "::1") or port is None:
        raise UserError(f"--link {text} is not understood; write pty or tcp://127.0.0.1:PORT.")
    try:
        return Tcp(parts.hostname, port)
    except OSError as error:
        raise UserError(
            f"Port {port} on {parts.hostname} can't be opened ({error.strerror}); name another."
        ) from None
