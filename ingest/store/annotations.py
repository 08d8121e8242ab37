"""What people add to the record: marks with history, and the book of commands sent to modules.

A mark is never overwritten: a change or a removal is a new version. With the daemon running, marks go
through its control socket; otherwise `open_annotations` takes the writer's lock itself.
"""

import json
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from ingest.errors import UserError
from ingest.store.reader.base import Base
from ingest.store.reader.events import marks
from ingest.store.reader.rows import Mark
from ingest.store.writer import Writer

TEXT_MAX = 4000
NAME_MAX = 80


class Annotations:
    """Write marks through the store's one writer. Times in UTC ms; `now` stamps when it was written down."""

    def __init__(self, writer: Writer) -> None:
        self._writer = writer

    def add(
        self,
        *,
        module: int,
        utc: int,
        kind: str,
        author: str,
        text: str,
        now: int,
        utc_end: int | None = None,
        data: Mapping[str, object] | None = None,
    ) -> int:
        """Write a new mark, return its number. On recorded time it keeps its tick, whatever the date."""
        _check(kind, author, text)
        with self._writer.transaction() as connection:
            boot, tick = _place(connection, module, utc)
            mark = int(connection.execute("SELECT coalesce(max(mark), 0) + 1 FROM mark").fetchone()[0])
            _insert(
                connection,
                (
                    mark,
                    1,
                    module,
                    boot,
                    tick,
                    utc,
                    utc_end,
                    kind,
                    author,
                    text,
                    json.dumps(data or {}, sort_keys=True),
                    now,
                    0,
                ),
            )
            return mark

    def change(
        self,
        mark: int,
        *,
        author: str,
        now: int,
        text: str | None = None,
        kind: str | None = None,
        data: Mapping[str, object] | None = None,
        utc: int | None = None,
        utc_end: int | None = None,
    ) -> int:
        """Write a new version of a mark, None leaves a part as it was; return the version."""
        with self._writer.transaction() as connection:
            old = _newest(connection, mark)
            new_kind, new_text = kind or old["kind"], old["text"] if text is None else text
            _check(new_kind, author, new_text)
            boot, tick, at = old["boot"], old["tick"], old["utc"]
            if utc is not None:
                (boot, tick), at = _place(connection, old["module"], utc), utc
            _insert(
                connection,
                (
                    mark,
                    old["version"] + 1,
                    old["module"],
                    boot,
                    tick,
                    at,
                    old["utc_end"] if utc_end is None else utc_end,
                    new_kind,
                    author,
                    new_text,
                    old["data"] if data is None else json.dumps(data, sort_keys=True),
                    now,
                    0,
                ),
            )
            return int(old["version"]) + 1

    def remove(self, mark: int, *, author: str, now: int) -> None:
        """Take a mark off the pages; its history stays."""
        with self._writer.transaction() as connection:
            old = _newest(connection, mark)
            _check(old["kind"], author, old["text"])
            _insert(
                connection,
                (
                    mark,
                    old["version"] + 1,
                    old["module"],
                    old["boot"],
                    old["tick"],
                    old["utc"],
                    old["utc_end"],
                    old["kind"],
                    author,
                    old["text"],
                    old["data"],
                    now,
                    1,
                ),
            )

    def newest(self, module: int, kind: str) -> list[Mark]:
        """Return the newest version of each mark of a kind that was not removed, by time."""
        base = Base(self._writer.path)
        try:
            return marks(base, module, None, None, kind, None)
        finally:
            base.close()

    def label(self, module: int, *, site: str, bed: str) -> None:
        """Set site and bed of a module."""
        with self._writer.transaction() as connection:
            connection.execute("UPDATE module SET site = ?, bed = ? WHERE id = ?", (site, bed, module))


def _check(kind: str, author: str, text: str) -> None:
    if not kind or len(kind) > NAME_MAX:
        raise UserError(f"A mark needs a category of at most {NAME_MAX} letters.")
    if not author.strip() or len(author) > NAME_MAX:
        raise UserError(f"A mark needs a name or initials of at most {NAME_MAX} letters.")
    if len(text) > TEXT_MAX:
        raise UserError(f"The text has {len(text)} letters; {TEXT_MAX} are allowed.")


def _newest(connection: sqlite3.Connection, mark: int) -> sqlite3.Row:
    cursor = connection.cursor()
    cursor.row_factory = sqlite3.Row
    row = cursor.execute(
        "SELECT * FROM mark WHERE mark = ? ORDER BY version DESC LIMIT 1", (mark,)
    ).fetchone()
    if row is None or row["removed"]:
        raise UserError(f"There is no mark {mark}; it may have been removed meanwhile.")
    found: sqlite3.Row = row
    return found


def _insert(connection: sqlite3.Connection, row: tuple[object, ...]) -> None:
    connection.execute(
        "INSERT INTO mark (mark, version, module, boot, tick, utc, utc_end, kind, author, text, data, "
        f"recorded_utc, removed) VALUES ({', '.join('?' * 13)})",
        row,
    )


def _place(connection: sqlite3.Connection, module: int, utc: int) -> tuple[int | None, int | None]:
    # The newest boot whose recorded ticks hold that time.
    for boot, utc0, rate, last_tick in connection.execute(
        "SELECT id, utc0, rate_ppb, last_tick FROM boot WHERE module = ? ORDER BY id DESC", (module,)
    ):
        tick = round((utc - utc0) / (1 + rate / 1e9))
        if 0 <= tick <= last_tick + 60_000:
            return boot, tick
    return None, None


@contextmanager
def open_annotations(path: str | Path, now: int) -> Iterator[Annotations]:
    """Take the writer's lock for a moment; raise UserError while a daemon holds it."""
    writer = Writer(path, now)
    try:
        yield Annotations(writer)
    finally:
        writer.close()
