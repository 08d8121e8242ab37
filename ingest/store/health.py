"""A look at a store from outside, for people in trouble: never writes, never raises on a bad file."""

import sqlite3
from dataclasses import dataclass
from pathlib import Path

from ingest.errors import UserError
from ingest.store.connect import explain, open_readable
from ingest.store.migrations import version


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """Hold what was seen: the schema's version, and one sentence with its cure, or None when all is well."""

    version: int | None
    problem: str | None


def examine(path: Path) -> Health:
    """Open a store read-only and check that it is a store, of a known version, and whole."""
    try:
        connection = open_readable(path)
    except UserError as error:
        return Health(version=None, problem=str(error))
    try:
        return Health(version=version(connection), problem=damage(connection, path))
    finally:
        connection.close()


def damage(connection: sqlite3.Connection, path: Path) -> str | None:
    """Check every page; return one sentence about the first fault, None when there is none."""
    try:
        first = str(connection.execute("PRAGMA quick_check(1)").fetchone()[0])
    except sqlite3.Error as error:
        return str(explain(error, str(path)) or error)
    if first != "ok":
        return f"{path} is damaged ({' '.join(first.split())}); restore it from a backup."
    return None
