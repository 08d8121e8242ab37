"""What the control socket may ask of the daemon: a table of requests, each checked field by field."""

import zlib
from collections.abc import Callable
from typing import Any

from firmware_sim.contract import commands, messages
from ingest.case_requests import CaseRequests
from ingest.errors import UserError
from ingest.host import Attached, Host
from ingest.pipeline import FLOWING, Now, Tell
from ingest.reserve_feed import ReserveFeed
from ingest.store.annotations import Annotations
from ingest.store.commands import answer, book, sent
from ingest.store.outbox import Place, put_place

REASON_MAX = 400
Request = dict[str, Any]


class Requests:
    """Answer requests for one host; `clock` gives the two times of now."""

    def __init__(self, host: Host, clock: Callable[[], Now]) -> None:
        self._host = host
        self._clock = clock
        self._marks = Annotations(host.writer)
        self._cases = CaseRequests(host.writer, self._marks, clock, self._send)
        self._reserves = ReserveFeed(host, clock, self._send)
        self._table: dict[str, Callable[[Request], dict[str, Any]]] = {
            "status": self._status,
            "command": self._command,
            "answer": self._answered,
            "add_mark": self._add_mark,
            "change_mark": self._change_mark,
            "remove_mark": self._remove_mark,
            "label": self._label,
            "start_case": self._start_case,
            "settle_case": self._settle_case,
            "end_case": self._end_case,
            "move_cursor": self._move_cursor,
        }

    def __call__(self, request: Request) -> dict[str, Any]:
        """Answer one request; raise UserError when it is refused."""
        wanted = request.get("do")
        handler = self._table.get(wanted) if isinstance(wanted, str) else None
        if handler is None:
            raise UserError(f"The daemon knows no such request; it knows {', '.join(self._table)}.")
        return handler(request)

    def elapsed(self) -> None:
        """Do what nobody has to ask for: tell modules of the cylinder that was entered."""
        self._reserves.elapsed()

    def _status(self, request: Request) -> dict[str, Any]:
        return {
            "store": str(self._host.writer.path),
            "links": [_link_status(link) for link in self._host.links],
        }

    def _command(self, request: Request) -> dict[str, Any]:
        code = _integer(request, "command", 0, 255)
        body = _hex(request, "body")
        if commands.unpack(code, body) is None:
            raise UserError("The module's contract knows no such command, or its body is malformed.")
        operator, reason = _text(request, "operator", 80), _text(request, "reason", REASON_MAX, empty=True)
        from_page = _flag(request, "from_page")
        row = self._send(_integer(request, "module"), code, body, operator, reason, from_page)
        return {"id": row}

    def _send(self, module: int, code: int, body: bytes, operator: str, reason: str, from_page: bool) -> int:
        """Book a command and send it; return its row. Raise UserError when the module isn't there."""
        link = self._link(module)
        now = self._clock()
        booked = book(
            self._host.writer,
            boot=link.pipeline.boot,
            command=code,
            body=body,
            operator=operator,
            reason=reason,
            from_page=from_page,
            now=now.utc,
        )
        values = (
            booked.command_seq,
            now.utc // 1000 & 0xFFFFFFFF,
            code,
            zlib.crc32(operator.encode("utf-8")),
            int(from_page),
        )
        self._host.handle(link, Tell(messages.COMMAND, values, body), now)
        sent(self._host.writer, booked, now.utc)
        return booked.id

    def _start_case(self, request: Request) -> dict[str, Any]:
        return self._cases.start(
            _integer(request, "module"), _text(request, "mode", 20), _text(request, "preset", 20),
            _text(request, "label", 80, empty=True), _text(request, "operator", 80),
            _flag(request, "from_page"),
        )  # fmt: skip

    def _settle_case(self, request: Request) -> dict[str, Any]:
        module, mark, row = (_integer(request, name) for name in ("module", "mark", "id"))
        end, operator = _optional(request, "end", _integer), _text(request, "operator", 80)
        return self._cases.settle(module, mark, row, end, operator)

    def _end_case(self, request: Request) -> dict[str, Any]:
        return self._cases.end(
            _integer(request, "module"), _optional(request, "end", _integer), _text(request, "operator", 80),
            _flag(request, "record_only"), _flag(request, "from_page"),
        )  # fmt: skip

    def _link(self, module: int) -> Attached:
        for link in self._host.links:
            hello = link.pipeline.hello
            if hello is not None and hello.module == module and link.pipeline.state == FLOWING:
                return link
        raise UserError(f"Module {module:08x} is not connected; plug it in, then try again.")

    def _answered(self, request: Request) -> dict[str, Any]:
        return {"answer": answer(self._host.writer, _integer(request, "id"))}

    def _add_mark(self, request: Request) -> dict[str, Any]:
        mark = self._marks.add(
            module=_integer(request, "module"),
            utc=_integer(request, "utc"),
            kind=_text(request, "kind", 80),
            author=_text(request, "author", 80),
            text=_text(request, "text", 4000, empty=True),
            utc_end=_optional(request, "utc_end", _integer),
            data=_data(request),
            now=self._clock().utc,
        )
        self._reserves.look()
        return {"mark": mark}

    def _change_mark(self, request: Request) -> dict[str, Any]:
        version = self._marks.change(
            _integer(request, "mark"),
            author=_text(request, "author", 80),
            text=_optional(request, "text", lambda one, name: _text(one, name, 4000, empty=True)),
            kind=_optional(request, "kind", lambda one, name: _text(one, name, 80)),
            utc=_optional(request, "utc", _integer),
            utc_end=_optional(request, "utc_end", _integer),
            data=_data(request),
            now=self._clock().utc,
        )
        self._reserves.look()
        return {"version": version}

    def _remove_mark(self, request: Request) -> dict[str, Any]:
        self._marks.remove(
            _integer(request, "mark"), author=_text(request, "author", 80), now=self._clock().utc
        )
        self._reserves.look()
        return {}

    def _label(self, request: Request) -> dict[str, Any]:
        self._marks.label(
            _integer(request, "module"),
            site=_text(request, "site", 80, empty=True),
            bed=_text(request, "bed", 80, empty=True),
        )
        return {}

    def _move_cursor(self, request: Request) -> dict[str, Any]:
        fields = ("module", "boot", "seq", "live_from", "live_seq", "rejected", "newest")
        place = Place(**{name: _integer(request, name, 0) for name in fields})
        name = _text(request, "name", 400)
        with self._host.writer.transaction() as connection:
            if connection.execute("SELECT 1 FROM boot WHERE id = ?", (place.boot,)).fetchone() is None:
                raise UserError(f"There is no boot {place.boot} in this store.")
            put_place(connection, name, place)
        return {}


def _link_status(link: Attached) -> dict[str, Any]:
    pipeline = link.pipeline
    hello, counts = pipeline.hello, pipeline.counts()
    return {
        "link": pipeline.link,
        "state": pipeline.state,
        "refusal": link.refusal,
        "module": None if hello is None else hello.module,
        "emulated": None if hello is None else hello.emulated,
        "firmware": None if hello is None else hello.firmware,
        "seen_utc": counts.seen_utc,
        "counters": counts.counters,
    }


# Within 53 bits, so that JSON keeps it whole wherever it was made.
_INTEGER_MAX = 1 << 53


def _integer(request: Request, name: str, low: int = -_INTEGER_MAX, high: int = _INTEGER_MAX) -> int:
    value = request.get(name)
    if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
        raise UserError(f"The request needs a whole number as {name!r}.")
    return value


def _text(request: Request, name: str, longest: int, empty: bool = False) -> str:
    value = request.get(name)
    if not isinstance(value, str) or len(value) > longest or (not value.strip() and not empty):
        raise UserError(f"The request needs a text of at most {longest} letters as {name!r}.")
    try:
        value.encode("utf-8")
    except UnicodeEncodeError:
        raise UserError(f"The text {name!r} holds half of a character.") from None
    return value


def _flag(request: Request, name: str) -> bool:
    value = request.get(name, False)
    if not isinstance(value, bool):
        raise UserError(f"The request needs true or false as {name!r}.")
    return value


def _hex(request: Request, name: str) -> bytes:
    try:
        return bytes.fromhex(_text(request, name, 1024, empty=True))
    except ValueError:
        raise UserError(f"The request needs hexadecimal digits as {name!r}.") from None


def _data(request: Request) -> dict[str, object] | None:
    value = request.get("data")
    if value is not None and not isinstance(value, dict):
        raise UserError("The request needs an object as 'data'.")
    return value


def _optional(request: Request, name: str, check: Callable[[Request, str], Any]) -> Any:
    return None if request.get(name) is None else check(request, name)
