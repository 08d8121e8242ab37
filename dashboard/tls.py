"""Serve over TLS. The usual server has none; this one is the HTTP server of a long-kept web framework."""

import socket
import ssl
from collections.abc import Callable
from pathlib import Path
from typing import Any

from cheroot.ssl.builtin import BuiltinSSLAdapter
from cheroot.wsgi import Server

from dashboard.security import BODY_BYTES_MAX
from ingest.errors import UserError

HEADER_BYTES_MAX = 65_536
IDLE_TIMEOUT_S = 30


class TlsServer:
    """A server that listens already; `run` serves until interrupted, `close` ends it."""

    def __init__(
        self, app: Callable[..., Any], host: str, port: int, cert: Path, key: Path, threads: int
    ) -> None:
        check_pair(cert, key)
        # The library leaves its socket open when the port is taken; so that is found out before.
        with socket.create_server((host, port), family=_family(host)):
            pass
        self._server = Server(
            (host, port), app, numthreads=threads, server_name="nightkeel", timeout=IDLE_TIMEOUT_S
        )
        self._server.max_request_body_size = BODY_BYTES_MAX
        self._server.max_request_header_size = HEADER_BYTES_MAX
        adapter = BuiltinSSLAdapter(str(cert), str(key))
        adapter.context.minimum_version = ssl.TLSVersion.TLSv1_2
        self._server.ssl_adapter = adapter
        self._server.prepare()

    @property
    def effective_port(self) -> int:
        """Return the port it listens on."""
        return int(self._server.bind_addr[1])

    def run(self) -> None:
        """Serve until `close` or Ctrl-C."""
        try:
            self._server.serve()
        except KeyboardInterrupt:
            self.close()

    def close(self) -> None:
        """End serving."""
        self._server.stop()


def _family(host: str) -> socket.AddressFamily:
    return socket.AF_INET6 if ":" in host else socket.AF_INET


def check_pair(cert: Path, key: Path) -> None:
    """Raise UserError unless certificate and private key can be read, without a passphrase, and fit."""
    for path in (cert, key):
        if not path.is_file():
            raise UserError(f"{path} is not there; name the PEM files with --cert and --key.")
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(cert, key, password=lambda: b"")
    except (ssl.SSLError, OSError) as error:
        raise UserError(
            f"{cert} and {key} can't be used ({error}); both must be PEM, belong together, "
            "and the key must have no passphrase."
        ) from error
