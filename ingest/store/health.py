"""A look at a store from outside, for people in trouble: never writes, never raises on a bad file."""

import sqlite3
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """Hold what was seen: the schema's version, and one sentence with its cure, or None when all is well."""

    version: int | None
    problem: str | None


def bad(problem: str) -> Health:
    """Report a store that could not be read as far as its version."""
    return Health(version=None, problem=problem)


def examine(path: Path) -> Health:
    """Open a store read-only and check that it is a store, of a known version, and whole."""
    if not path.exists():
        return bad("does not exist; `nightkeel night --store FILE` or the ingest daemon makes one.")
    if not path.is_file():
        return bad("is not a file; name the store itself.")
    try:
        connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
        try:
            return look_inside(connection)
        finally:
            connection.close()
    except sqlite3.DatabaseError as error:
        return bad(f"can't be read ({error}); check who may read it, or take the latest backup.")


def look_inside(connection: sqlite3.Connection) -> Health:
    """Read the version and check every page; raise sqlite3.DatabaseError on a file of another kind."""
    version: int = connection.execute("PRAGMA user_version").fetchone()[0]
    first: str = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    if first != "ok":
        return Health(version=version, problem=f"is damaged ({first}); take the latest backup.")
    if version == 0:
        return Health(version=0, problem="is no nightkeel store; name another file.")
    return Health(version=version, problem=None)
