"""Who is signed in: sessions kept by the server alone; the browser holds a random name of one. Times in s."""

import hashlib
import hmac
import secrets
import threading
from collections import deque
from dataclasses import dataclass, field

# Idle: no request at all, so a page that stays open keeps its session. A night has twelve hours at most.
IDLE_S, WHOLE_S = 1800, 12 * 3600
KEPT_MAX = 200
# Reads of a page that hasn't heard of the newest token yet still count.
OLD_TOKENS = 8


def _fresh_token() -> str:
    return secrets.token_urlsafe(32)


@dataclass(slots=True, kw_only=True)
class Session:
    """Hold who signed in (`salt` tells that the passphrase is still the same) and the forgery tokens."""

    name: str
    salt: str
    begun_s: float
    seen_s: float
    token: str = field(default_factory=_fresh_token)
    spent: deque[str] = field(default_factory=lambda: deque(maxlen=OLD_TOKENS))

    def knows(self, token: str) -> bool:
        """Tell whether a token is of this session, spent or not."""
        return any(_same(token, one) for one in (self.token, *self.spent))

    def spend(self, token: str) -> bool:
        """Use the newest token up for one command and make the next; False when it isn't the newest."""
        if not _same(token, self.token):
            return False
        self.spent.append(self.token)
        self.token = _fresh_token()
        return True


def _same(one: str, other: str) -> bool:
    return hmac.compare_digest(one.encode("utf-8", "replace"), other.encode())


class Sessions:
    """Open, find and close sessions. Only a hash of each cookie is kept."""

    def __init__(self) -> None:
        self._kept: dict[bytes, Session] = {}
        self._lock = threading.Lock()

    def open(self, name: str, salt: str, now_s: float) -> tuple[str, Session]:
        """Return a new cookie and its session; whatever the browser sent before is never taken over."""
        cookie = _fresh_token()
        session = Session(name=name, salt=salt, begun_s=now_s, seen_s=now_s)
        with self._lock:
            self._kept[_key(cookie)] = session
            if len(self._kept) > KEPT_MAX:
                del self._kept[next(iter(self._kept))]
        return cookie, session

    def find(self, cookie: str, now_s: float) -> Session | None:
        """Return the session of a cookie, None when there is none or its time is over."""
        with self._lock:
            session = self._kept.get(_key(cookie))
            if session is None:
                return None
            if now_s - session.seen_s >= IDLE_S or now_s - session.begun_s >= WHOLE_S:
                del self._kept[_key(cookie)]
                return None
            session.seen_s = now_s
            return session

    def spend(self, session: Session, token: str) -> bool:
        """Use a session's newest token up for one command; False when it was used before."""
        with self._lock:
            return session.spend(token)

    def close(self, cookie: str) -> None:
        """End the session of a cookie."""
        with self._lock:
            self._kept.pop(_key(cookie), None)


def _key(cookie: str) -> bytes:
    return hashlib.sha256(cookie.encode("utf-8", "replace")).digest()
