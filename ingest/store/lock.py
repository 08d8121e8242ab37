"""One writer a store: an advisory lock beside the file, given back by the system when its holder dies."""

import fcntl
import os
import time
from pathlib import Path
from types import TracebackType

from ingest.errors import UserError

TRIES = 10
WAIT_S = 0.05


class WriterLock:
    """Hold the right to write one store."""

    def __init__(self, store: Path) -> None:
        """Take the lock or raise UserError that names the holder."""
        self.path = store.with_name(store.name + ".lock")
        try:
            self._file = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        except OSError as error:
            raise UserError(
                f"{store} can't be written ({error.strerror}); check owner, mode and mount of its folder."
            ) from error
        try:
            self._take()
        except BlockingIOError:
            holder = os.read(self._file, 32).decode("ascii", "replace").strip() or "unknown"
            os.close(self._file)
            raise UserError(
                f"{store} is being written by another process (pid {holder}); stop that one first, "
                "or name another file with --store."
            ) from None
        os.ftruncate(self._file, 0)
        os.pwrite(self._file, f"{os.getpid()}\n".encode("ascii"), 0)

    def _take(self) -> None:
        # A cursor or a mark is written within milliseconds: worth waiting for, before one refuses.
        for _ in range(TRIES):
            try:
                fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
                return
            except BlockingIOError:
                time.sleep(WAIT_S)
        fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)

    def close(self) -> None:
        """Give the lock back; the lock file stays, so that nobody locks a file that is being removed."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1

    def __enter__(self) -> "WriterLock":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
