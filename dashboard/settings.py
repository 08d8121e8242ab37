"""What the server of the pages is told at its start."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path


def utc_now_ms() -> int:
    """Return the machine's time as UTC ms."""
    return time.time_ns() // 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Hold where the store is, where to listen, and the zone of shown times (None: the browser's).

    `socket` is the daemon's control socket, None when there is none; `clock` gives UTC ms.
    """

    store: Path
    host: str = "127.0.0.1"
    port: int = 8050
    zone: str | None = None
    socket: Path | None = None
    clock: Callable[[], int] = utc_now_ms
