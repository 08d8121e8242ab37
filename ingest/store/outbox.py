"""What a sink reads from the store: lines of a stretch of records, and the cursor that says how far it got.

The cursor of a boot is `seq` (all up to here were taken) and a live stretch (`live_from`, `live_seq`] that
was sent ahead of an older backlog. It is moved by whoever may write: the daemon, or this process for a
moment.
"""

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from firmware_sim.contract import alarms, channels, messages
from ingest.sinks.line_protocol import LineEncoder, head
from ingest.store.connect import open_readable, open_writable
from ingest.store.lock import WriterLock
from ingest.store.schema import SEQ_BITS, field_rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Say how far one sink got with one boot; `newest` is the last committed record."""

    module: int
    boot: int
    seq: int
    live_from: int
    live_seq: int
    rejected: int
    newest: int

    @property
    def backlog(self) -> int:
        """Return how many records still wait."""
        return max(0, self.newest - self.seq - (self.live_seq - self.live_from))


def _names_of(values: tuple[str, ...], code: int) -> str:
    return values[code] if code < len(values) else str(code)


class Outbox:
    """Read lines for one sink, over a connection of its own."""

    def __init__(self, path: str | Path, name: str) -> None:
        self.path = Path(path)
        self.name = name
        self._connection = open_readable(self.path)
        self._encoders = {message_id: LineEncoder(_numeric(message_id)) for message_id in _FORWARDED}

    def close(self) -> None:
        """Close the file."""
        self._connection.close()

    def places(self) -> list[Place]:
        """Return the cursor of every boot, in order of boot."""
        found = self._connection.execute(
            "SELECT boot.module, boot.id, coalesce(sink.seq, 0), coalesce(sink.live_from, 0), "
            "coalesce(sink.live_seq, 0), coalesce(sink.rejected, 0), boot.last_seq FROM boot "
            "LEFT JOIN sink ON sink.boot = boot.id AND sink.name = ? ORDER BY boot.id",
            (self.name,),
        )
        names = ("module", "boot", "seq", "live_from", "live_seq", "rejected", "newest")
        return [Place(**dict(zip(names, row, strict=True))) for row in found]

    def lines(self, boot: int, after: int, upto: int) -> list[str]:
        """Return the lines of the records of a boot with after < sequence <= upto."""
        tags = self._tags(boot)
        out: list[str] = []
        for message_id in _FORWARDED:
            out += self._lines_of(message_id, boot, after, upto, tags)
        return out

    def _tags(self, boot: int) -> list[tuple[str, str]]:
        module, emulated, site, bed = self._connection.execute(
            "SELECT module.id, module.emulated, module.site, module.bed FROM boot JOIN module "
            "ON module.id = boot.module WHERE boot.id = ?",
            (boot,),
        ).fetchone()
        return [
            ("module", f"{module:08x}"),
            ("site", site),
            ("bed", bed),
            ("simulated", "yes" if emulated else ""),
        ]

    def _lines_of(
        self, message_id: int, boot: int, after: int, upto: int, tags: list[tuple[str, str]]
    ) -> Iterator[str]:
        name, names = messages.LAYOUTS[message_id][0], [field for field, _ in _numeric(message_id)]
        tagged = _TAGGED.get(message_id, {})
        listed = ", ".join(f'"{field}"' for field in [*tagged, *names])
        found = self._connection.execute(
            f"SELECT tick, {listed} FROM {name} WHERE id > ? AND id <= ? ORDER BY id",
            ((boot << SEQ_BITS) | after, (boot << SEQ_BITS) | upto),
        )
        encoder, clock, skip = self._encoders[message_id], _Clock(self._connection, boot), 1 + len(tagged)
        heads: dict[tuple[int, ...], str] = {}
        for row in found:
            codes = row[1:skip]
            start = heads.get(codes)
            if start is None:
                own = [
                    (field, _names_of(values, code))
                    for (field, values), code in zip(tagged.items(), codes, strict=True)
                ]
                start = heads[codes] = head(name, [*tags, *own])
            line = encoder.line(start, row[skip:], clock.utc(row[0]))
            if line:
                yield line

    def move(self, place: Place) -> None:
        """Put a cursor on the disk; raise UserError when another process holds the store for long."""
        save_place(self.path, self.name, place)


class _Clock:
    """Label ticks as when they were committed, so that a line sent again is the same line."""

    def __init__(self, connection: sqlite3.Connection, boot: int) -> None:
        rows = connection.execute(
            "SELECT tick, utc0, rate_ppb FROM clock WHERE boot = ? ORDER BY tick", (boot,)
        )
        self._fits = (
            rows.fetchall()
            or connection.execute("SELECT 0, utc0, rate_ppb FROM boot WHERE id = ?", (boot,)).fetchall()
        )
        self._at = 0

    def utc(self, tick: int) -> int:
        """Return the UTC label of a tick; ticks must come in order."""
        fits = self._fits
        while self._at + 1 < len(fits) and fits[self._at + 1][0] <= tick:
            self._at += 1
        _, utc0, rate = fits[self._at]
        return int(utc0 + tick + tick * rate // 1_000_000_000)


_FORWARDED = (messages.TREND, messages.BREATH, messages.ALARM, messages.SUPPLY_EVENT)
# Codes that become tags with the names of the contract.
_TAGGED: dict[int, dict[str, tuple[str, ...]]] = {
    messages.BREATH: {"kind": channels.BREATH_KINDS},
    messages.ALARM: {"row": tuple(row.name for row in alarms.ROWS), "transition": alarms.TRANSITIONS},
    messages.SUPPLY_EVENT: {
        "tap": ("before_ups", "after_ups"),
        "kind": channels.SUPPLY_EVENT_KINDS,
        "phase": channels.EVENT_PHASES,
    },
}


def _numeric(message_id: int) -> list[tuple[str, int]]:
    tagged = _TAGGED.get(message_id, {})
    return [(field[0], field[3]) for field in field_rows(message_id) if field[0] not in tagged]


def put_place(connection: sqlite3.Connection, name: str, place: Place) -> None:
    """Write a cursor inside the caller's transaction."""
    connection.execute(
        "INSERT OR REPLACE INTO sink VALUES (?, ?, ?, ?, ?, ?)",
        (name, place.boot, place.seq, place.live_from, place.live_seq, place.rejected),
    )


def save_place(path: Path, name: str, place: Place) -> None:
    """Write a cursor with the writer's lock held for a moment; raise UserError when a daemon holds it."""
    with WriterLock(path):
        connection = open_writable(path)
        try:
            connection.execute("BEGIN IMMEDIATE")
            put_place(connection, name, place)
            connection.execute("COMMIT")
        finally:
            connection.close()
