"""Move a sink's cursor: through the daemon when one runs, else with the writer's lock held for a moment."""

from dataclasses import asdict
from pathlib import Path

from ingest.control_client import Client, socket_path
from ingest.errors import UserError
from ingest.store.outbox import Place, save_place


class Cursors:
    """Save the places of one sink of one store."""

    def __init__(self, store: Path, name: str) -> None:
        self._store = store
        self._name = name
        self._client = Client(store)

    def save(self, place: Place) -> None:
        """Put a cursor on the disk."""
        if socket_path(self._store).exists():
            try:
                self._client.ask({"do": "move_cursor", "name": self._name, **asdict(place)})
                return
            except UserError:
                # The daemon may just have ended: then its lock is free.
                pass
        save_place(self._store, self._name, place)
