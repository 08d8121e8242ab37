"""What a sink reads from the store: lines of a stretch of records, and the cursor that says how far it got.

The cursor of a boot is `seq` (all up to here were taken) and a live stretch (`live_from`, `live_seq`] that
was sent ahead of an older backlog. It is moved by whoever may write: the daemon, or this process for a
moment.
"""

import sqlite3
from dataclasses import dataclass
from pathlib import Path

from firmware_sim.contract import alarms, channels, messages
from ingest.sinks.line_protocol import head, template
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

    def body(self, boot: int, after: int, upto: int) -> bytes:
        """Return the lines of the records of a boot with after < sequence <= upto, one behind the other.

        The database writes them, some five times faster than Python can and beside its other threads.
        """
        tags = self._tags(boot)
        span = {"boot": boot, "after": boot << SEQ_BITS | after, "upto": boot << SEQ_BITS | upto}
        parts = (self._part(_KINDS[message_id], span, tags) for message_id in _FORWARDED)
        return "\n".join(part for part in parts if part).encode("utf-8")

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

    def _part(self, kind: "_Kind", span: dict[str, int], tags: list[tuple[str, str]]) -> str | None:
        """Return the lines of one message, None where there is none."""
        keys = [key for (key,) in self._connection.execute(kind.keys_sql, span)]
        formats = {key: kind.format(key, tags) for key in keys}
        arms = " ".join(f"WHEN :key{n} THEN :format{n}" for n in range(len(keys)))
        parameters: dict[str, int | str | None] = {**span}
        for place, (key, text) in enumerate(formats.items()):
            parameters |= {f"key{place}": key, f"format{place}": text}
        if not keys:
            return None
        (found,) = self._connection.execute(kind.lines_sql.format(arms=arms), parameters).fetchone()
        return None if found is None else str(found)

    def move(self, place: Place) -> None:
        """Put a cursor on the disk; raise UserError when another process holds the store for long."""
        save_place(self.path, self.name, place)


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


# Ticks are labelled as when they were committed, so that a line sent again is the same line: by the newest
# fit up to the tick, else by the first one. The last term rounds down where the rate is negative.
_LABEL = "utc0 + {0}.tick + {0}.tick * rate_ppb / 1000000000 - ({0}.tick * rate_ppb % 1000000000 < 0)"
_UTC = (
    f"coalesce((SELECT {_LABEL} FROM clock WHERE boot = :boot AND tick <= {{0}}.tick "
    "ORDER BY tick DESC LIMIT 1), "
    f"(SELECT {_LABEL} FROM clock WHERE boot = :boot ORDER BY tick LIMIT 1), "
    f"(SELECT {_LABEL} FROM boot WHERE id = :boot))"
)


class _Kind:
    """Say how the rows of one message become lines.

    A row's key is its tagged codes and which values it lacks: rows of one key share a format.
    """

    def __init__(self, message_id: int) -> None:
        self.name = messages.LAYOUTS[message_id][0]
        self.tagged = _TAGGED.get(message_id, {})
        self.fields = [(row[0], row[3]) for row in field_rows(message_id) if row[0] not in self.tagged]
        columns = [f'"{name}"' for name, _ in self.fields]
        # The other columns are declared to hold a value in every row.
        optional = {row[0] for row in field_rows(message_id) if row[1].endswith("?")}
        lacks = [
            f"({column} IS NULL) << {place}"
            for place, column in enumerate(columns)
            if self.fields[place][0] in optional
        ]
        codes = [f'"{name}" << {len(columns) + 8 * place}' for place, name in enumerate(self.tagged)]
        key = " | ".join(f"({one})" for one in lacks + codes) or "0"
        span = f"FROM {self.name} WHERE id > :after AND id <= :upto"
        self.keys_sql = f"SELECT DISTINCT {key} {span}"
        line = f"printf(CASE {key} {{arms}} END, {', '.join(columns)}, {_UTC.format(self.name)})"
        self.lines_sql = f"SELECT group_concat({line}, char(10)) {span}"

    def format(self, key: int, tags: list[tuple[str, str]]) -> str | None:
        """Return the format of the rows of one key, None when they have no value at all."""
        codes = key >> len(self.fields)
        own = [
            (name, _names_of(values, codes >> 8 * place & 0xFF))
            for place, (name, values) in enumerate(self.tagged.items())
        ]
        return template(head(self.name, [*tags, *own]), self.fields, key) or None


_KINDS = {message_id: _Kind(message_id) for message_id in _FORWARDED}


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
