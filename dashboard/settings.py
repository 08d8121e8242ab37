"""What the server of the pages is told at its start."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from dashboard.users import default_path
from ingest.analysis.first_actions import FirstActions


def utc_now_ms() -> int:
    """Return the machine's time as UTC ms."""
    return time.time_ns() // 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Hold where the store is, where to listen, and the zone of shown times (None: the browser's).

    `socket` is the daemon's control socket, None when there is none; `clock` gives UTC ms, `steady` seconds
    that never jump. `users` is the file of users (None: beside the store), `names` the host names by which
    browsers may reach the pages; with `cert` and `key` (PEM) they are served over TLS. `actions` are the
    site's own first actions for alarms. `rig` is the control socket of an emulated board, None for none.
    """

    store: Path
    host: str = "127.0.0.1"
    port: int = 8050
    zone: str | None = None
    socket: Path | None = None
    clock: Callable[[], int] = utc_now_ms
    steady: Callable[[], float] = time.monotonic
    users: Path | None = None
    names: tuple[str, ...] = ()
    cert: Path | None = None
    key: Path | None = None
    actions: FirstActions | None = None
    rig: Path | None = None

    @property
    def users_path(self) -> Path:
        """Return the file of users."""
        return self.users or default_path(self.store)
