"""Cases as people start and end them, read from marks; and what makes one look as if its end was forgotten.

Nothing here decides: a question is put, a person answers it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

from ingest.analysis.refusal import Refused
from ingest.analysis.written import Written

KIND: Final = "case"
GOES_ON: Final = "case_goes_on"
LABEL_MAX: Final = 80
# Asked of the module and not yet answered; under way; ended by a person.
ASKED, OPEN, ENDED = "asked", "open", "ended"

# House rules: how long until somebody is asked, and for how long 'it goes on' counts.
QUIET_MS: Final = 30 * 60_000
STANDBY_MS: Final = 15 * 60_000
DARK_MS: Final = 60 * 60_000
ASK_AGAIN_MS: Final = 2 * 3_600_000

# Questions and, in English, what was noticed.
QUESTIONS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "case.ask.quiet": "no breath was seen for {minutes} min",
        "case.ask.standby": "the module has been in standby for {minutes} min",
        "case.ask.dark": "the module was not heard for {minutes} min",
        "case.ask.never_confirmed": "the module never confirmed its start",
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Hold one case of one module; `end` None while it is open. `label` is what a person typed, or ''.

    `author` started it, whoever wrote its newest version; `renamed`: the label was another one before.
    """

    number: int
    mark: int
    module: int
    start: int
    end: int | None
    mode: str
    preset: str
    label: str
    state: str
    author: str
    renamed: bool = False

    @property
    def is_open(self) -> bool:
        """Tell whether nobody has ended it."""
        return self.end is None

    def data(self, state: str) -> dict[str, object]:
        """Return what its mark holds in a state."""
        return {"number": self.number, "mode": self.mode, "preset": self.preset, "state": state,
                "by": self.author, "renamed": self.renamed}  # fmt: skip

    def until(self, now_ms: int) -> int:
        """Return its end, or now while it is open."""
        return now_ms if self.end is None else self.end


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Hold one thing that speaks for a forgotten end: text key, minutes, since when (UTC ms)."""

    key: str
    minutes: int
    since_ms: int

    @property
    def noticed(self) -> str:
        """Return in English what was noticed."""
        return QUESTIONS[self.key].format(minutes=self.minutes)


def cases(marks: Iterable[Written]) -> tuple[Case, ...]:
    """Return the cases among marks, by start; what can't be read is left out."""
    found = []
    for mark in marks:
        number, state = mark.data.get("number"), mark.data.get("state")
        if mark.kind != KIND or not isinstance(number, int) or state not in (ASKED, OPEN, ENDED):
            continue
        found.append(
            Case(
                number=number, mark=mark.mark, module=mark.module, start=mark.utc, end=mark.utc_end,
                mode=str(mark.data.get("mode", "")), preset=str(mark.data.get("preset", "")),
                label=mark.text, state=str(state), author=str(mark.data.get("by", mark.author)),
                renamed=bool(mark.data.get("renamed")),
            )
        )  # fmt: skip
    return tuple(sorted(found, key=lambda one: (one.start, one.number)))


def open_case(found: Sequence[Case]) -> Case | None:
    """Return the case that nobody has ended, None when there is none."""
    return next((one for one in reversed(found) if one.is_open), None)


def next_number(found: Sequence[Case]) -> int:
    """Return the number of the next case of a module."""
    return max((one.number for one in found), default=0) + 1


def numbered(found: Sequence[Case], number: int) -> Case:
    """Return the case of a number; raise Refused when there is none."""
    for one in found:
        if one.number == number:
            return one
    known = ", ".join(str(one.number) for one in found[-7:]) or "-"
    raise Refused("refused.no_such_case", number=number, known=known)


def checked_end(case: Case, end_ms: int, now_ms: int) -> int:
    """Return the time at which a case is to end; raise Refused for one outside it."""
    if not case.start < end_ms <= now_ms:
        raise Refused("refused.case_end", number=case.number)
    return end_ms


def relabelled(case: Case, label: str) -> tuple[str, dict[str, object]]:
    """Return text and data of a case's mark under another label; raise Refused when it is none."""
    label = label.strip()
    if len(label) > LABEL_MAX:
        raise Refused("refused.case_label_long", length=len(label), most=LABEL_MAX)
    if label == case.label:
        raise Refused("refused.case_label_same", number=case.number)
    return label, replace(case, renamed=True).data(case.state)


def questions(
    case: Case | None,
    *,
    now_ms: int,
    last_breath_ms: int | None,
    last_trend_ms: int | None,
    standby_since_ms: int | None,
    goes_on_ms: int | None = None,
) -> tuple[Question, ...]:
    """Return what speaks for a forgotten end; none for two hours after somebody said that it goes on.

    `standby_since_ms` None: not in standby. Without a breath in the case the count begins at its start.
    """
    if case is None or not case.is_open:
        return ()
    if goes_on_ms is not None and case.start <= goes_on_ms and now_ms - goes_on_ms < ASK_AGAIN_MS:
        return ()
    heard = max(last_trend_ms or case.start, case.start)
    breath = max(last_breath_ms or case.start, case.start)
    found = []
    if now_ms - heard >= DARK_MS:
        # A module that is silent says nothing of breath or standby.
        found.append(_question("case.ask.dark", heard, now_ms))
    else:
        if standby_since_ms is not None and heard - max(standby_since_ms, case.start) >= STANDBY_MS:
            found.append(_question("case.ask.standby", max(standby_since_ms, case.start), now_ms))
        if heard - breath >= QUIET_MS:
            found.append(_question("case.ask.quiet", breath, now_ms))
    if case.state == ASKED and now_ms - case.start >= STANDBY_MS:
        found.append(_question("case.ask.never_confirmed", case.start, now_ms))
    return tuple(found)


def _question(key: str, since_ms: int, now_ms: int) -> Question:
    return Question(key=key, minutes=(now_ms - since_ms) // 60_000, since_ms=since_ms)
