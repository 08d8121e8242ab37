"""Open a store file; put what the disk or the file may answer into one sentence."""

import os
import sqlite3
import time
from pathlib import Path
from urllib.parse import quote

from ingest.errors import UserError
from ingest.store.lock import WriterLock
from ingest.store.migrations import MIGRATIONS, check_kind, migrate, version

# How long a reader or a second opener waits for a lock that is held for milliseconds.
BUSY_TIMEOUT_S = 5.0


def explain(error: sqlite3.Error, path: str) -> UserError | None:
    """Return the sentence for an error that the disk or the file caused, None for our own mistakes."""
    name = getattr(error, "sqlite_errorname", "") or ""
    sentences = {
        "SQLITE_FULL": f"The disk under {path} is full; free some space and start again, "
        "nothing acknowledged is lost.",
        "SQLITE_READONLY": f"{path} can't be written; check owner, mode and mount, then start again.",
        "SQLITE_CANTOPEN": f"{path} can't be opened; check that the folder exists and may be written.",
        "SQLITE_NOTADB": f"{path} is not a store; name another file, or restore it from a backup.",
        "SQLITE_CORRUPT": f"{path} is damaged; run `nightkeel verify` on it and restore it from a backup.",
        "SQLITE_IOERR": f"Reading or writing {path} failed ({error}); check the disk, then start again.",
        "SQLITE_BUSY": f"{path} is locked by another program; close that one and start again.",
        "SQLITE_PERM": f"{path} may not be used by this user; check its owner and mode.",
    }
    for start, sentence in sentences.items():
        if name.startswith(start):
            return UserError(sentence)
    return None


def open_writable(path: Path) -> sqlite3.Connection:
    """Open or create a store for its one writer: WAL, and every commit on the disk before it counts."""
    if path.is_dir():
        raise UserError(f"{path} is a folder; name a file with --store.")
    try:
        connection = sqlite3.connect(
            path, timeout=BUSY_TIMEOUT_S, isolation_level=None, cached_statements=256
        )
        check_kind(connection, str(path))
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA temp_store = MEMORY")
    except sqlite3.Error as error:
        raise explain(error, str(path)) or error from error
    return connection


def open_readable(path: Path) -> sqlite3.Connection:
    """Open a store that exists for reading only; raise UserError when it can't be.

    One of an older version is brought up to date first, when nobody is writing it.
    """
    if not path.exists():
        raise UserError(
            f"{path} doesn't exist; record into it first (`nightkeel ingest` or `nightkeel night`)."
        )
    if path.is_dir():
        raise UserError(f"{path} is a folder; name a store file.")
    uri = f"file:{quote(str(path.absolute()))}?mode=ro"
    if not os.access(path.parent, os.W_OK) and not path.with_name(path.name + "-wal").exists():
        # Nobody can be writing it there, nor can the index of a log be made beside it.
        uri += "&immutable=1"
    try:
        connection = sqlite3.connect(
            uri, uri=True, timeout=BUSY_TIMEOUT_S, isolation_level=None, check_same_thread=False
        )
        check_kind(connection, str(path))
        if version(connection) < len(MIGRATIONS):
            bring_up_to_date(path)
        connection.execute("PRAGMA query_only = ON")
    except sqlite3.Error as error:
        raise explain(error, str(path)) or error from error
    return connection


def bring_up_to_date(path: Path) -> None:
    """Migrate a store of an older version, with the writer's lock held; raise UserError when it can't be."""
    with WriterLock(path):
        connection = open_writable(path)
        try:
            migrate(connection, int(time.time() * 1000))
        finally:
            connection.close()
