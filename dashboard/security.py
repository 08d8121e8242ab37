"""What the server refuses before any page runs: foreign hosts, posts from elsewhere, oversized bodies.

Browsers can be made to send requests to a loopback server; a name that isn't ours in `Host` (a rebound
DNS name) and a foreign `Origin` are how one tells.
"""

import ipaddress
from collections.abc import Sequence
from urllib.parse import urlsplit

from flask import Flask, Response, abort, request

from dashboard.users import Users
from ingest.errors import UserError

LOOPBACK_NAMES = ("localhost", "127.0.0.1", "[::1]")
ALL_ADDRESSES = ("0.0.0.0", "::")
FORM_PATHS = ("/login", "/logout")
BODY_BYTES_MAX = 1_000_000
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}


def is_loopback(host: str) -> bool:
    """Tell whether a host name or address is this machine's own."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"


def check_host(host: str, users: Users) -> None:
    """Raise UserError for an address beyond loopback while nobody has a passphrase."""
    if not is_loopback(host) and not users.accounts():
        raise UserError(
            f"The pages may not be served on {host}: beyond this machine they need a passphrase, and "
            f"{users.path} holds none. Add a person with `nightkeel user add`, or serve on 127.0.0.1."
        )


def guard(server: Flask, host: str, csp: str, names_too: Sequence[str] = ()) -> None:
    """Check every request, and put the security headers on every answer.

    `names_too` are host names by which browsers may reach the pages. On an address that stands for all of
    this machine's, any numeric address is a right name: only a name can be rebound.
    """
    server.config["MAX_CONTENT_LENGTH"] = BODY_BYTES_MAX
    names = {*LOOPBACK_NAMES, _bracketed(host), *(name.lower() for name in names_too)}
    numeric = host in ALL_ADDRESSES

    @server.before_request
    def refuse_strangers() -> None:
        name = _name(request.host)
        if name not in names and not (numeric and is_numeric(name)):
            abort(403)
        if request.method not in ("GET", "HEAD", "OPTIONS"):
            _refuse_foreign_posts()

    @server.after_request
    def harden(response: Response) -> Response:
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        response.headers["Content-Security-Policy"] = csp
        return response


def is_numeric(name: str) -> bool:
    """Tell whether a host is a plain address; IPv6 stands in brackets."""
    try:
        return _bracketed(str(ipaddress.ip_address(name.strip("[]")))) == name
    except ValueError:
        return False


def _bracketed(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def _name(host: str) -> str:
    """Return a host without its port."""
    return host.rsplit(":", 1)[0] if ":" in host.rsplit("]", 1)[-1] else host


def _refuse_foreign_posts() -> None:
    origin = request.headers.get("Origin")
    if origin is not None and urlsplit(origin).netloc != request.host:
        abort(403)
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        abort(403)
    # A form can't send this type without asking first; the two forms of ours carry a token instead.
    if request.path not in FORM_PATHS and request.mimetype != "application/json":
        abort(415)


def policy(script_hashes: Sequence[str]) -> str:
    """Return the content security policy: our own scripts and styles, nobody else's anything."""
    scripts = " ".join(["'self'", *script_hashes])
    return (
        f"default-src 'self'; script-src {scripts}; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
        "connect-src 'self'; font-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; "
        "frame-ancestors 'none'"
    )
