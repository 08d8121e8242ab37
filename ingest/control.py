"""The daemon's control socket: a Unix socket for its owner only, one JSON line in, one out."""

import json
import os
import socket
from collections.abc import Callable
from pathlib import Path
from selectors import EVENT_READ, BaseSelector
from typing import Any

from ingest.control_client import LINE_MAX, socket_path
from ingest.errors import UserError

# The system's limit for the path of a Unix socket, its closing zero included.
PATH_MAX = 108
CLIENTS_MAX = 32
# A client that takes its answer no faster goes without.
REPLY_S = 0.5

Answer = Callable[[dict[str, Any]], dict[str, Any]]


class ControlSocket:
    """Listen beside the store; hand each request to `answer`, send back what it returns or why it can't."""

    def __init__(self, store: Path, selector: BaseSelector, answer: Answer) -> None:
        """Bind the socket with mode 0600; the caller holds the store's lock, so that an old one is stale."""
        self.path = socket_path(store)
        if len(os.fsencode(self.path)) >= PATH_MAX:
            raise UserError(
                f"The path of {store} is too long for the control socket beside it; "
                f"name a store with a path under {PATH_MAX - 5} letters."
            )
        self._selector = selector
        self._answer = answer
        self._clients: dict[socket.socket, bytes] = {}
        self.path.unlink(missing_ok=True)
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        before = os.umask(0o177)
        try:
            self._socket.bind(str(self.path))
        finally:
            os.umask(before)
        self._socket.listen(CLIENTS_MAX)
        self._socket.setblocking(False)
        selector.register(self._socket, EVENT_READ, self._accept)

    def _accept(self) -> None:
        try:
            client, _ = self._socket.accept()
        except OSError:
            return
        if len(self._clients) >= CLIENTS_MAX:
            client.close()
            return
        client.setblocking(False)
        self._clients[client] = b""
        self._selector.register(client, EVENT_READ, lambda: self._read(client))

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
            self._reply(client, data)
        self._drop(client)

    def _reply(self, client: socket.socket, data: bytes) -> None:
        # The status of hundreds of links is more than a socket takes at once.
        client.settimeout(REPLY_S)
        try:
            client.sendall(json.dumps(self._respond(data)).encode("utf-8") + b"\n")
        except OSError:
            return

    def _respond(self, data: bytes) -> dict[str, Any]:
        if len(data) > LINE_MAX:
            return {"ok": False, "error": f"A request may have at most {LINE_MAX} bytes."}
        try:
            request = json.loads(data.split(b"\n", 1)[0])
        except (ValueError, RecursionError):
            return {"ok": False, "error": "The request is not JSON."}
        if not isinstance(request, dict):
            return {"ok": False, "error": "The request is not a JSON object."}
        try:
            return {"ok": True, **self._answer(request)}
        except UserError as error:
            return {"ok": False, "error": str(error)}

    def _drop(self, client: socket.socket) -> None:
        self._selector.unregister(client)
        del self._clients[client]
        client.close()

    def close(self) -> None:
        """Stop listening and take the socket away."""
        for client in list(self._clients):
            self._drop(client)
        self._selector.unregister(self._socket)
        self._socket.close()
        self.path.unlink(missing_ok=True)
