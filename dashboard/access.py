"""Sign in, sign out, and who may do what: asked of every request once the pages are reached from elsewhere.

Nothing but the sign-in page is served without a session. Every post carries the session's forgery token; a
command uses it up, so that the same request sent twice is a command once.
"""

import re
import secrets
import threading
from dataclasses import replace
from urllib.parse import quote

from flask import Flask, Response, abort, current_app, g, has_request_context, redirect, request
from werkzeug.wrappers import Response as Answer

from dashboard.access_pages import account_page, login_page
from dashboard.security import is_loopback
from dashboard.sessions import Session, Sessions
from dashboard.settings import Settings
from dashboard.texts import Words
from dashboard.throttle import Throttle
from dashboard.users import Account, Users
from dashboard.view import View, view_of
from ingest.errors import UserError

LOGIN, LOGOUT, ACCOUNT = "/login", "/logout", "/account"
OPEN_PATHS = (LOGIN, "/assets/nightkeel.css", "/assets/nightkeel.svg")
TOKEN_COOKIE, TOKEN_HEADER = "_csrf_token", "X-CSRFToken"  # as the page library sends them
FORM_COOKIE = "nk_form"
READING = ("GET", "HEAD", "OPTIONS")
OPERATE = "operate"
PLACE = re.compile(r"/(?![/\\])[!-~]{0,500}")
NAME_MAX = 64
EXTENSION = "nightkeel-gate"


class Gate:
    """Decide about each request of one server."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.users = Users(settings.users_path)
        self.demanded = not is_loopback(settings.host) or bool(self.users.accounts())
        self.sessions = Sessions()
        self.throttle = Throttle()
        # One hash at a time: it takes 128 MiB, and the pages need their threads.
        self._hashing = threading.Semaphore(1)
        self.secure = settings.cert is not None
        # With this prefix a browser takes the cookie from nobody else, not even a neighbouring host name.
        self.cookie = "__Host-nk_session" if self.secure else "nk_session"

    def words(self) -> Words:
        """Return the words of the person behind this request."""
        return view_of(request.cookies, self.settings).words

    def signed_in(self) -> tuple[Session, Account] | None:
        """Return session and account of this request; None when there is none or it counts no more."""
        cookie = request.cookies.get(self.cookie)
        session = None if cookie is None else self.sessions.find(cookie, self.settings.steady())
        if session is None:
            return None
        account = self.users.accounts().get(session.name)
        if account is None or account.salt != session.salt:
            return None
        return session, account

    def try_login(self, name: str, passphrase: str) -> tuple[Session | None, str, int]:
        """Return a session and its cookie, or None and the seconds to wait (0 s: wrong)."""
        address = request.remote_addr or ""
        known = self.users.accounts().get(name)
        if not self._hashing.acquire(blocking=False):
            return None, "", 1
        try:
            wait_s = self.throttle.begin(
                name, address, known.unlocked if known else 0, self.settings.steady()
            )
            if wait_s:
                return None, "", wait_s
            account = self.users.check(name, passphrase)
        finally:
            self._hashing.release()
        if account is None:
            return None, "", 0
        self.throttle.passed(name, address)
        cookie, session = self.sessions.open(name, account.salt, self.settings.steady())
        return session, cookie, 0

    def set_cookie(self, response: Answer, name: str, value: str, *, script: bool = False) -> None:
        """Give the browser a cookie for its session; `script` lets the page read it."""
        response.set_cookie(name, value, httponly=not script, samesite="Strict", secure=self.secure, path="/")


def install(server: Flask, settings: Settings) -> None:
    """Put the gate before every route. Where no sign-in is demanded, nothing changes."""
    gate = Gate(settings)
    server.extensions[EXTENSION] = gate
    if not gate.demanded:
        return
    server.before_request(lambda: _admit(gate))
    server.after_request(lambda response: _finish(gate, response))
    server.add_url_rule(LOGIN, "login", lambda: _login(gate), methods=["GET", "POST"])
    server.add_url_rule(LOGOUT, "logout", lambda: _logout(gate), methods=["POST"])
    server.add_url_rule(ACCOUNT, "account", lambda: _account(gate), methods=["GET"])


def operator(alone: str) -> str:
    """Return who gives a command: the signed-in name, or `alone` where no sign-in is demanded.

    Raise UserError when the person may only view, or when this very request was used before.
    """
    gate: Gate | None = current_app.extensions.get(EXTENSION) if has_request_context() else None
    if gate is None or not gate.demanded:
        return alone
    session, account = g.signed_in
    if account.role != OPERATE:
        raise UserError(gate.words()("access.view_only"))
    if not gate.sessions.spend(session, request.headers.get(TOKEN_HEADER, "")):
        raise UserError(gate.words()("access.used"))
    return str(session.name)


def signed(author: str) -> str:
    """Return the author of what is written down: as typed, and who was signed in, as `operator` tells."""
    who = operator("")
    return f"{author} ({who})" if who else author


def sign_in_demanded() -> bool:
    """Tell whether the server of this request asks people who they are."""
    gate: Gate | None = current_app.extensions.get(EXTENSION) if has_request_context() else None
    return gate is not None and gate.demanded


def _admit(gate: Gate) -> Answer | None:
    g.signed_in = None
    if request.path in OPEN_PATHS:
        return None
    try:
        g.signed_in = gate.signed_in()
    except UserError:
        abort(503)
    if g.signed_in is None:
        if request.method == "GET" and request.accept_mimetypes.accept_html and not _is_machinery():
            asked = request.full_path.removesuffix("?")
            return redirect(f"{LOGIN}?next={quote(asked, safe='')}", 303)
        abort(401)
    if request.method not in READING:
        field = request.form.get("token", "") if request.path == LOGOUT else ""
        if not g.signed_in[0].knows(request.headers.get(TOKEN_HEADER, field)):
            abort(403)
    return None


def _is_machinery() -> bool:
    return request.path.startswith(("/_", "/assets/", "/static/"))


def _finish(gate: Gate, response: Response) -> Response:
    if not request.path.startswith(("/assets/", "/_dash-component-suites/")):
        response.headers["Cache-Control"] = "no-store"
    known = g.get("signed_in")
    if known is not None and request.path != LOGOUT and request.cookies.get(TOKEN_COOKIE) != known[0].token:
        gate.set_cookie(response, TOKEN_COOKIE, known[0].token, script=True)
    return response


def safe_place(asked: str) -> str:
    """Return the address on this server to go on to; anything that might lead elsewhere becomes '/'."""
    return asked if PLACE.fullmatch(asked) else "/"


def _login(gate: Gate) -> Answer:
    words = gate.words()
    if request.method != "POST":
        return _ask(gate, safe_place(request.args.get("next", "/")), "", 200)
    place = safe_place(request.form.get("next", "/"))
    token = request.cookies.get(FORM_COOKIE, "")
    if not token or not secrets.compare_digest(token.encode(), request.form.get("token", "").encode()):
        return _ask(gate, place, words("access.again"), 403)
    name = request.form.get("name", "").strip().lower()[:NAME_MAX]
    try:
        session, cookie, wait_s = gate.try_login(name, request.form.get("passphrase", ""))
    except UserError:
        abort(503)
    if wait_s:
        answer = _ask(gate, place, words("access.wait", seconds=wait_s), 429)
        answer.headers["Retry-After"] = str(wait_s)
        return answer
    if session is None:
        return _ask(gate, place, words("access.wrong"), 401)
    gate.sessions.close(request.cookies.get(gate.cookie, ""))
    answer = redirect(place, 303)
    gate.set_cookie(answer, gate.cookie, cookie)
    gate.set_cookie(answer, TOKEN_COOKIE, session.token, script=True)
    answer.delete_cookie(FORM_COOKIE, path="/", samesite="Strict", httponly=True, secure=gate.secure)
    return answer


def _ask(gate: Gate, place: str, said: str, status: int) -> Answer:
    token = secrets.token_urlsafe(32)
    answer = Response(login_page(_view(gate), place, said, token), status)
    gate.set_cookie(answer, FORM_COOKIE, token)
    return answer


def _logout(gate: Gate) -> Answer:
    gate.sessions.close(request.cookies.get(gate.cookie, ""))
    answer = redirect(LOGIN, 303)
    for name in (gate.cookie, TOKEN_COOKIE):
        answer.delete_cookie(name, path="/", samesite="Strict", secure=gate.secure)
    return answer


def _account(gate: Gate) -> Answer:
    session, account = g.signed_in
    return Response(account_page(_view(gate), session.name, account.role, session.token))


def _view(gate: Gate) -> View:
    """Return how this person wants the pages; no theme before a page with a script asked the browser."""
    view = view_of(request.cookies, gate.settings)
    return view if "nk_theme" in request.cookies else replace(view, theme="")
