"""Join the guided checks to the store and the module: marks by the one writer, commands by the daemon."""

from pathlib import Path
from typing import Any

from dashboard.marking import Draft, write
from ingest.analysis.guided.run import Guide
from ingest.analysis.guided.table import KIND
from ingest.control_client import Client
from ingest.errors import UserError
from ingest.store.reader import Reader, tables


def guide(reader: Reader, store: Path, module: int, now: int, author: str, *, from_page: bool) -> Guide:
    """Return a guide whose marks and commands carry the author."""

    def note(utc: int, data: dict[str, Any], text: str) -> None:
        write(store, module, Draft(utc=utc, kind=KIND, author=author, text=text, data=data), now)

    def tell(name: str, values: tuple[int, ...]) -> str:
        return tell_module(store, module, name, values, operator=author, from_page=from_page)

    return Guide(reader, module, now, note=note, tell=tell)


def looker(reader: Reader, module: int, now: int) -> Guide:
    """Return a guide that only looks: it can neither write nor command."""

    def never(*_: Any) -> Any:
        raise AssertionError("who only looks writes nothing")

    return Guide(reader, module, now, note=never, tell=never)


def tell_module(
    store: Path, module: int, name: str, values: tuple[int, ...], *, operator: str, from_page: bool,
    reason: str = "guided check",
) -> str:  # fmt: skip
    """Send a command and return the name of the module's answer. Raise UserError when none comes in time."""
    client = Client(store)
    body = tables.command_body(name, values)
    row = client.command(
        module, tables.COMMANDS[name], body, operator=operator, reason=reason, from_page=from_page
    )
    found = client.answered(row)
    if found is None:
        raise UserError("The module gave no answer in time; look at the module and its link.")
    return tables.COMMAND_RESULTS[int(found["result"])]
