"""Ask the running daemon over its local socket: status, commands to a module, marks.

One request and one answer a connection, each a JSON object on one line. The socket lies beside the store
(`STORE.sock`, mode 0600), so that only its owner may ask.
"""

import json
import socket
import time
from pathlib import Path
from typing import Any

from ingest.errors import UserError

TIMEOUT_S = 5.0
LINE_MAX = 65_536
ANSWER_WAIT_S, ANSWER_STEP_S = 8.0, 0.1


def socket_path(store: str | Path) -> Path:
    """Return where the daemon of a store listens."""
    path = Path(store).absolute()
    return path.with_name(path.name + ".sock")


class Client:
    """Speak with the daemon that records into one store."""

    def __init__(self, store: str | Path, timeout_s: float = TIMEOUT_S) -> None:
        self._path = socket_path(store)
        self._timeout_s = timeout_s

    def running(self) -> bool:
        """Tell whether a daemon answers."""
        try:
            self.status()
        except UserError:
            return False
        return True

    def status(self) -> dict[str, Any]:
        """Return what the daemon does: `links`, each with url, state, module, emulated, refusal, counters."""
        return self.ask({"do": "status"})

    def command(
        self, module: int, command: int, body: bytes, *, operator: str, reason: str, from_page: bool = False
    ) -> int:
        """Send a command to a module; return the row under which its answer will stand."""
        answer = self.ask(
            {
                "do": "command",
                "module": module,
                "command": command,
                "body": body.hex(),
                "operator": operator,
                "reason": reason,
                "from_page": from_page,
            }
        )
        return int(answer["id"])

    def answer(self, row: int) -> dict[str, Any] | None:
        """Return the module's answer (result, detail, text, answered_utc), None while there is none."""
        found = self.ask({"do": "answer", "id": row})["answer"]
        return None if found is None else dict(found)

    def answered(self, row: int, wait_s: float = ANSWER_WAIT_S) -> dict[str, Any] | None:
        """Wait for the module's answer to a command; None when none came in time."""
        until = time.monotonic() + wait_s
        while (found := self.answer(row)) is None and time.monotonic() < until:
            time.sleep(ANSWER_STEP_S)
        return found

    def start_case(
        self, module: int, *, mode: str, preset: str, label: str, operator: str, from_page: bool = False
    ) -> tuple[int, dict[str, Any] | None]:
        """Start a case; return its number and the module's answer, None while there is none.

        Refused by the module, the case is taken back; unanswered, it stands as not confirmed.
        """
        asked = self.ask({"do": "start_case", "module": module, "mode": mode, "preset": preset,
                          "label": label, "operator": operator, "from_page": from_page})  # fmt: skip
        return int(asked["number"]), self._settled(module, asked, None, operator)

    def end_case(
        self,
        module: int,
        *,
        operator: str,
        end: int | None = None,
        record_only: bool = False,
        from_page: bool = False,
    ) -> tuple[int, dict[str, Any] | None]:
        """End the open case at `end` (UTC ms, None: now); return its number and the module's answer.

        With `record_only` only the record is closed: for a module that isn't there any more.
        """
        asked = self.ask({"do": "end_case", "module": module, "end": end, "operator": operator,
                          "record_only": record_only, "from_page": from_page})  # fmt: skip
        if asked["id"] is None:
            return int(asked["number"]), None
        return int(asked["number"]), self._settled(module, asked, asked["end"], operator)

    def _settled(
        self, module: int, asked: dict[str, Any], end: int | None, operator: str
    ) -> dict[str, Any] | None:
        found = self.answered(asked["id"])
        self.ask({"do": "settle_case", "module": module, "mark": asked["mark"], "id": asked["id"],
                  "end": end, "operator": operator})  # fmt: skip
        return found

    def add_mark(self, **fields: Any) -> int:
        """Write a mark: module, utc, kind, author, text, optional utc_end and data; return its number."""
        return int(self.ask({"do": "add_mark", **fields})["mark"])

    def change_mark(self, mark: int, **fields: Any) -> int:
        """Write a new version of a mark: author, and what changes; return the version."""
        return int(self.ask({"do": "change_mark", "mark": mark, **fields})["version"])

    def remove_mark(self, mark: int, *, author: str) -> None:
        """Take a mark off the pages; its history stays."""
        self.ask({"do": "remove_mark", "mark": mark, "author": author})

    def label(self, module: int, *, site: str, bed: str) -> None:
        """Set site and bed of a module."""
        self.ask({"do": "label", "module": module, "site": site, "bed": bed})

    def ask(self, request: dict[str, Any]) -> dict[str, Any]:
        """Send one request, return the answer; raise UserError when nobody answers or it was refused."""
        nobody = "No daemon answers for this store ({error}); start `nightkeel ingest`."
        return ask_at(self._path, request, self._timeout_s, nobody)


def ask_rig(path: Path, request: dict[str, Any], timeout_s: float = TIMEOUT_S) -> dict[str, Any]:
    """Ask an emulated board's control socket; raise UserError when nobody answers or it was refused."""
    return ask_at(path, request, timeout_s, f"No emulated board answers at {path} ({{error}}).")


def ask_at(path: Path, request: dict[str, Any], timeout_s: float, nobody: str) -> dict[str, Any]:
    """Send one request to a socket, return the answer; `nobody` is what to say when none comes."""
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as connection:
            connection.settimeout(timeout_s)
            connection.connect(str(path))
            connection.sendall(json.dumps(request).encode("utf-8") + b"\n")
            line = _read_line(connection)
    except (OSError, ValueError) as error:
        raise UserError(nobody.format(error=error)) from error
    answer = json.loads(line)
    if not isinstance(answer, dict) or not answer.get("ok"):
        raise UserError(str(answer.get("error", "no reason was given")))
    return answer


def _read_line(connection: socket.socket) -> bytes:
    data = b""
    while not data.endswith(b"\n"):
        piece = connection.recv(LINE_MAX)
        if not piece:
            raise ValueError("it closed the connection")
        data += piece
    return data
