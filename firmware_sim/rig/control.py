"""The control socket of an emulated board: for its owner only, one JSON line in, one out.

A real module has none: it is no part of the contract.
"""

import contextlib
import json
import os
import socket
import stat
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from firmware_sim.contract.errors import UserError

LINE_MAX = 4096
CLIENTS_MAX = 8
# The system's limit for the path of a Unix socket, its closing zero included.
PATH_MAX = 108

Answer = Callable[[Mapping[str, Any]], dict[str, Any]]


class Control:
    """Listen on a Unix socket with mode 0600; `poll` answers what has come, and never waits."""

    def __init__(self, path: Path, answer: Answer) -> None:
        self.path, self.answer = path, answer
        self._clients: dict[socket.socket, bytes] = {}
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            _clear(path)
            before = os.umask(0o177)
            try:
                self._socket.bind(str(path))
            finally:
                os.umask(before)
        except (OSError, UserError) as error:
            self._socket.close()
            reason = error.strerror if isinstance(error, OSError) else str(error)
            raise UserError(f"{path}: {reason}; name another path with --control.") from None
        self._socket.listen(CLIENTS_MAX)
        self._socket.setblocking(False)

    def poll(self) -> None:
        """Take in who knocks and answer whose line is whole."""
        with contextlib.suppress(BlockingIOError):
            while True:
                client, _ = self._socket.accept()
                if len(self._clients) >= CLIENTS_MAX:
                    client.close()
                    continue
                client.setblocking(False)
                self._clients[client] = b""
        for client in list(self._clients):
            self._read(client)

    def _read(self, client: socket.socket) -> None:
        try:
            piece = client.recv(LINE_MAX)
        except BlockingIOError:
            return
        except OSError:
            piece = b""
        data = self._clients[client] + piece
        if piece and b"\n" not in data and len(data) <= LINE_MAX:
            self._clients[client] = data
            return
        if piece:
            with contextlib.suppress(OSError):
                client.sendall(json.dumps(self._respond(data)).encode() + b"\n")
        del self._clients[client]
        client.close()

    def _respond(self, data: bytes) -> dict[str, Any]:
        try:
            request = json.loads(data.split(b"\n", 1)[0])
        except (ValueError, RecursionError):
            request = None
        if not isinstance(request, dict):
            return {"ok": False, "error": "The request is not a JSON object on one line."}
        try:
            return {"ok": True, **self.answer(request)}
        except UserError as error:
            return {"ok": False, "error": str(error)}

    def close(self) -> None:
        """Stop listening and take the socket away."""
        for client in self._clients:
            client.close()
        self._clients.clear()
        self._socket.close()
        self.path.unlink(missing_ok=True)


def _clear(path: Path) -> None:
    """Take a socket away that nobody listens on; refuse what is something else or in use."""
    if len(os.fsencode(path)) >= PATH_MAX:
        raise UserError(f"longer than the system's {PATH_MAX - 1} letters for a socket")
    if not path.exists():
        return
    if not stat.S_ISSOCK(path.stat().st_mode):
        raise UserError("exists and is no socket")
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        if probe.connect_ex(str(path)) == 0:
            raise UserError("another board listens there")
    path.unlink()
