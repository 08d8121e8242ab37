"""Put the pages behind a real WSGI server."""

import logging
from typing import Protocol

from flask import Flask
from waitress import create_server

from dashboard.app import create_app
from dashboard.security import BODY_BYTES_MAX, check_host
from dashboard.settings import Settings
from dashboard.users import Users
from dashboard.view import zone_of
from ingest.errors import UserError


class Listening(Protocol):
    """A server that listens already: `run` serves until interrupted, `close` ends it."""

    def run(self) -> None:
        """Serve."""

    def close(self) -> None:
        """End serving."""


def listen(settings: Settings, threads: int = 8) -> Listening:
    """Return a server that listens already; its `run` serves until interrupted, `close` ends it.

    Raise UserError for an unknown zone, an address beyond loopback without users, an unreadable store, a
    certificate that doesn't fit, a taken port.
    """
    if settings.zone is not None and zone_of(settings.zone) is None:
        raise UserError(
            f"There is no time zone {settings.zone!r}; name one like Africa/Nairobi or UTC with --zone."
        )
    check_host(settings.host, Users(settings.users_path))
    if settings.users is not None and not settings.users.exists():
        raise UserError(f"{settings.users} is not there; make it with `nightkeel user add --users`.")
    app = create_app(settings)
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    try:
        return _create(app.server, settings, threads)
    except OSError as error:
        raise UserError(
            f"Port {settings.port} on {settings.host} can't be used ({error.strerror}); "
            "close what holds it or name another with --port."
        ) from error


def _create(server: Flask, settings: Settings, threads: int) -> Listening:
    if settings.cert is None and settings.key is None:
        plain: Listening = create_server(
            server,
            host=settings.host,
            port=settings.port,
            threads=threads,
            ident="nightkeel",
            max_request_body_size=BODY_BYTES_MAX,
        )
        return plain
    if settings.cert is None or settings.key is None:
        raise UserError("TLS needs both halves: name the certificate with --cert and its key with --key.")
    from dashboard.tls import TlsServer

    return TlsServer(server, settings.host, settings.port, settings.cert, settings.key, threads)
