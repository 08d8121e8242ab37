"""Put the pages behind a real WSGI server."""

import logging

from waitress import create_server
from waitress.server import BaseWSGIServer, MultiSocketServer

from dashboard.app import create_app
from dashboard.security import check_host
from dashboard.settings import Settings
from dashboard.view import zone_of
from ingest.errors import UserError


def listen(settings: Settings, threads: int = 8) -> BaseWSGIServer | MultiSocketServer:
    """Return a server that listens already; its `run` serves until interrupted, `close` ends it.

    Raise UserError for an unknown zone, an address beyond loopback, an unreadable store, a taken port.
    """
    if settings.zone is not None and zone_of(settings.zone) is None:
        raise UserError(
            f"There is no time zone {settings.zone!r}; name one like Africa/Nairobi or UTC with --zone."
        )
    check_host(settings.host)
    app = create_app(settings)
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    try:
        return create_server(
            app.server, host=settings.host, port=settings.port, threads=threads, ident="nightkeel"
        )
    except OSError as error:
        raise UserError(
            f"Port {settings.port} on {settings.host} can't be used ({error.strerror}); "
            "close what holds it or name another with --port."
        ) from error
