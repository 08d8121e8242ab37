"""What the control socket may ask about cases: start, end, settle. The store decides whether one is open."""

from collections.abc import Callable
from typing import Any

from firmware_sim.contract import channels, commands
from ingest.analysis.cases import ASKED, ENDED, KIND, OPEN, Case, cases, checked_end, next_number, open_case
from ingest.analysis.refusal import Refused
from ingest.errors import UserError
from ingest.pipeline import Now
from ingest.store.annotations import Annotations
from ingest.store.commands import answer
from ingest.store.writer import Writer

Request = dict[str, Any]
# Module, command, body, operator, reason, from a page: the row of the command in the store.
Send = Callable[[int, int, bytes, str, str, bool], int]


class CaseRequests:
    """Keep the marks of cases and send what the module must be told. Values come checked."""

    def __init__(self, writer: Writer, marks: Annotations, clock: Callable[[], Now], send: Send) -> None:
        self._writer = writer
        self._marks = marks
        self._clock = clock
        self._send = send

    def start(
        self, module: int, mode: str, preset: str, label: str, operator: str, from_page: bool
    ) -> dict[str, Any]:
        """Write the case down, then ask the module; return its mark, number and the command's row.

        Written first, so that a module that obeyed is never without its case.
        """
        mode_code = _choice("Mode", mode, channels.MODES)
        preset_code = _choice("Preset", preset, channels.PRESETS)
        found = self._cases(module)
        refuse_second(found)
        number, now = next_number(found), self._clock().utc
        body = commands.pack(commands.START_CASE, (number, mode_code, preset_code))
        data = {"number": number, "mode": mode, "preset": preset, "state": ASKED}
        mark = self._marks.add(
            module=module, utc=now, kind=KIND, author=operator, text=label, data=data, now=now
        )
        try:
            row = self._send(module, commands.START_CASE, body, operator, f"case {number}", from_page)
        except UserError:
            self._marks.remove(mark, author=operator, now=now)
            raise
        return {"mark": mark, "number": number, "id": row}

    def settle(self, module: int, mark: int, row: int, end_ms: int | None, operator: str) -> dict[str, Any]:
        """Let the module's answer decide about a case that was asked for, or (`end_ms`) about its end."""
        found = answer(self._writer, row)
        case = next((one for one in self._cases(module) if one.mark == mark and one.is_open), None)
        if case is None or found is None:
            return {"state": None if case is None else case.state}
        done, now = found["result"] == commands.DONE, self._clock().utc
        if end_ms is not None:
            return {"state": self._close(case, end_ms, operator) if done else case.state}
        if case.state == ASKED and not done:
            self._marks.remove(mark, author=operator, now=now)
            return {"state": "refused"}
        self._marks.change(mark, author=operator, data=case.data(OPEN), now=now)
        return {"state": OPEN}

    def end(
        self, module: int, end_ms: int | None, operator: str, record_only: bool, from_page: bool
    ) -> dict[str, Any]:
        """Tell the module that the open case ends; with `record_only` close the record without the module.

        Else the record is closed by `settle`, once the module has answered.
        """
        case = open_case(self._cases(module))
        if case is None:
            raise Refused("refused.no_open_case")
        now = self._clock().utc
        at = checked_end(case, end_ms or now, now)
        if record_only:
            self._close(case, at, operator)
            return {"mark": case.mark, "number": case.number, "id": None, "end": at}
        body = commands.pack(commands.END_CASE, (case.number,))
        row = self._send(module, commands.END_CASE, body, operator, f"case {case.number}", from_page)
        return {"mark": case.mark, "number": case.number, "id": row, "end": at}

    def _close(self, case: Case, end_ms: int, operator: str) -> str:
        data, now = case.data(ENDED), self._clock().utc
        self._marks.change(case.mark, author=operator, data=data, utc_end=end_ms, now=now)
        return ENDED

    def _cases(self, module: int) -> tuple[Case, ...]:
        return cases(self._marks.newest(module, KIND))


def refuse_second(found: tuple[Case, ...]) -> None:
    """Raise Refused when a case is open already: nobody is ever ended by the next one's start."""
    case = open_case(found)
    if case is not None:
        raise Refused("refused.case_open", number=case.number, since=_minute(case.start))


def _minute(utc_ms: int) -> str:
    from datetime import UTC, datetime

    return datetime.fromtimestamp(utc_ms / 1000, UTC).strftime("%Y-%m-%d %H:%M UTC")


def _choice(what: str, given: str, known: tuple[str, ...]) -> int:
    if given not in known:
        raise Refused("refused.unknown_choice", what=what, given=repr(given), known=", ".join(known))
    return known.index(given)
