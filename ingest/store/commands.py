"""The book of commands: each is on the disk, with who and why, before it is sent."""

from dataclasses import dataclass

from ingest.errors import UserError
from ingest.store.schema import SEQ_BITS
from ingest.store.writer import Writer


@dataclass(frozen=True, slots=True, kw_only=True)
class Booked:
    """A command that is written down: its row, and the number under which the module will know it."""

    id: int
    command_seq: int


def book(
    writer: Writer,
    *,
    boot: int,
    command: int,
    body: bytes,
    operator: str,
    reason: str,
    from_page: bool,
    now: int,
) -> Booked:
    """Write a command down, under a number above all earlier ones of that module, whoever gave them."""
    if not operator.strip():
        raise UserError("A command needs the name or initials of the one who gives it.")
    with writer.transaction() as connection:
        seq = int(
            connection.execute(
                "SELECT coalesce(max(seq), 0) + 1 FROM ("
                "SELECT c.command_seq AS seq FROM host_command c JOIN boot b ON b.id = c.boot "
                "WHERE b.module = (SELECT module FROM boot WHERE id = ?1) "
                "UNION ALL SELECT command_seq FROM command_result WHERE id > ?2 AND id < ?3)",
                (boot, boot << SEQ_BITS, (boot + 1) << SEQ_BITS),
            ).fetchone()[0]
        )
        cursor = connection.execute(
            "INSERT INTO host_command (boot, command_seq, utc, command, body, operator, reason, "
            "from_page, answer) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, '')",
            (boot, seq, now, command, body, operator, reason, int(from_page)),
        )
        assert cursor.lastrowid is not None
        return Booked(id=cursor.lastrowid, command_seq=seq)


def sent(writer: Writer, booked: Booked, now: int) -> None:
    """Note when a command went out."""
    with writer.transaction() as connection:
        connection.execute("UPDATE host_command SET sent_utc = ? WHERE id = ?", (now, booked.id))


def answer(writer: Writer, row: int) -> dict[str, object] | None:
    """Return what the module answered to a command, None while it hasn't."""
    found = writer.connection.execute(
        "SELECT answered_utc, result, detail, answer FROM host_command WHERE id = ?", (row,)
    ).fetchone()
    if found is None or found[0] is None:
        return None
    return {"answered_utc": found[0], "result": found[1], "detail": found[2], "text": found[3]}
