"""Write marks into a store: through its daemon while one records, else by taking its lock for a moment."""

from pathlib import Path
from typing import Any

from ingest.control_client import Client
from ingest.store.annotations import open_annotations


def add_mark(store: Path, now: int, **fields: Any) -> int:
    """Write a new mark (module, utc, kind, author, text, utc_end, data); return its number.

    `now`: UTC ms. Raise UserError when it is refused.
    """
    client = Client(store)
    if client.running():
        return client.add_mark(**fields)
    with open_annotations(store, now) as notes:
        return notes.add(now=now, **fields)


def change_mark(store: Path, mark: int, now: int, **fields: Any) -> int:
    """Write a new version of a mark (author, and what changes); return the version."""
    client = Client(store)
    if client.running():
        return client.change_mark(mark, **fields)
    with open_annotations(store, now) as notes:
        return notes.change(mark, now=now, **fields)


def remove_mark(store: Path, mark: int, now: int, *, author: str) -> None:
    """Take a mark off the pages; its history stays."""
    client = Client(store)
    if client.running():
        client.remove_mark(mark, author=author)
        return
    with open_annotations(store, now) as notes:
        notes.remove(mark, author=author, now=now)
