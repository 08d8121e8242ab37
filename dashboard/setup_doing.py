"""What the page Set-up does: go through a list, write upkeep down, set the module's clock. No layout here."""

import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from dashboard.access import signed
from dashboard.check_words import when
from dashboard.checking import guide, looker, tell_module
from dashboard.formats import clock
from dashboard.links import parse
from dashboard.queries import choose_module, reading
from dashboard.refusing import refusal
from dashboard.settings import Settings
from dashboard.upkeep_words import enter
from dashboard.view import View
from ingest.analysis.evidence import EVIDENCE, Look
from ingest.analysis.guided.run import Guide, Run
from ingest.analysis.guided.sight import Verdict
from ingest.analysis.guided.table import LISTS
from ingest.errors import UserError
from ingest.store.reader import Module, Reader, tables

TIME = re.compile(r"\s*(\d{4})-(\d{2})-(\d{2})[ T]+(\d{1,2}):(\d{2})(?::(\d{2}))?\s*")
U32 = 0xFFFFFFFF
CLOCK_SET = tables.LOG_CODES["clock"]
BACK_MS = 30 * 86_400_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Hold how a list stands: its newest run, and the verdict on the open step."""

    list_name: str
    run: Run | None
    verdict: Verdict | None

    @property
    def shape(self) -> list[Any]:
        """Return what changes the buttons, so that nothing is drawn anew, and no focus lost, without need."""
        if self.run is None:
            return [self.list_name]
        attempt = self.run.attempt
        opened = None if attempt is None else [attempt.step.name, attempt.begun_ms, attempt.measured_ms]
        state = None if self.verdict is None else self.verdict.state
        results = [[name, one.at_ms] for name, one in self.run.results.items()]
        return [self.list_name, self.run.begun_ms, opened, state, results]


def module_of(reader: Reader, search: str | None) -> Module | None:
    """Return the module that an address asks for, None for an empty store."""
    return choose_module(reader, parse(search).module)


def standing(reader: Reader, view: View, module: int) -> list[Standing]:
    """Return how each list stands; nothing is written."""
    found = []
    looking = looker(reader, module, view.now)
    for list_name in LISTS:
        run = looking.run(list_name)
        verdict = None if run is None or run.attempt is None else looking.standing(run.attempt)
        found.append(Standing(list_name=list_name, run=run, verdict=verdict))
    return found


def do(
    settings: Settings, view: View, search: str | None, asked: Mapping[str, str], told: Mapping[str, Any]
) -> tuple[bool, str]:
    """Do what a button of a list asks; return whether it was done, and what to say."""
    words = view.words
    if not str(told["who"]).strip():
        return False, words("setup.bad_who")
    try:
        author = signed(str(told["who"]).strip())
        with reading(settings.store) as reader:
            module = module_of(reader, search)
            if module is None:
                return False, words("empty.title")
            hand = guide(reader, settings.store, module.id, view.now, author, from_page=True)
            _press(hand, asked, second_source=bool(told["second_source"]))
    except UserError as error:
        return False, words("setup.failed", reason=refusal(error, words))
    return True, words("setup.done")


def _press(hand: Guide, asked: Mapping[str, str], *, second_source: bool) -> None:
    list_name, what = asked["list"], asked["do"]
    if what == "begin":
        hand.begin(list_name)
    elif what == "step":
        if hand.run(list_name) is None:
            hand.begin(list_name)
        hand.start(list_name, asked["step"], second_source=second_source)
    elif what == "again":
        hand.again(list_name)
    elif what == "take":
        hand.look(list_name)
    elif what in ("yes", "no", "finish"):
        hand.confirm(list_name, right=what != "no")
    elif what == "stop":
        hand.stop(list_name)


def set_clock(
    settings: Settings, view: View, search: str | None, utc_ms: int, who: str
) -> tuple[bool, str]:
    """Set the module's clock; the module logs the old and the new date."""
    words = view.words
    if not who.strip():
        return False, words("setup.bad_who")
    try:
        author = signed(who.strip())
        with reading(settings.store) as reader:
            module = module_of(reader, search)
        if module is None:
            return False, words("empty.title")
        values = (utc_ms // 1000, utc_ms % 1000)
        answer = tell_module(
            settings.store, module.id, "clock", values, operator=author, from_page=True, reason="clock set"
        )
    except UserError as error:
        return False, words("setup.failed", reason=refusal(error, words))
    said = words("control.answer", what=words("clock.set"), result=words(f"result.{answer}"))
    return answer == "done", said


def time_of(text: str, view: View) -> int | None:
    """Return UTC ms of a date and time as typed in the zone shown, None when it can't be a time."""
    found = TIME.fullmatch(text)
    if found is None:
        return None
    year, month, day, hour, minute, second = (int(part or 0) for part in found.groups())
    with suppress(ValueError, OverflowError):
        at = datetime(year, month, day, hour, minute, second, tzinfo=view.zone).astimezone(UTC)
        utc = round(at.timestamp() * 1000)
        if 0 <= utc // 1000 <= U32:
            return utc
    return None


def last_set(reader: Reader, module: int, now: int) -> tuple[int, int, int] | None:
    """Return (when, old, new) of the clock's last setting in 30 days, UTC ms; old 0: it was not set."""
    found = reader.records(tables.LOG, module, now - BACK_MS, now + 60_000)
    places = [place for place, code in enumerate(found["code"]) if code == CLOCK_SET]
    if not places:
        return None
    place = places[-1]
    old, new = (int(found[name][place]) & U32 for name in ("first", "second"))
    return int(found.t[place]), old * 1000, new * 1000


def clock_lines(reader: Reader, module: int, view: View) -> list[str]:
    """Return how the module's clock stands, this computer's time, and the last setting, old and new."""
    words = view.words
    seen = EVIDENCE["clock"](Look(reader, module, view.now))
    lines = [words("clock.unknown") if seen is None else words(seen.key, **seen.params)]
    lines.append(words("clock.here", when=when(view.now, view), zone=words("data", text=view.zone.key)))
    last = last_set(reader, module, view.now)
    if last is not None:
        at, old, new = last
        before = words("clock.not_set") if old == 0 else when(old, view)
        lines.append(words("clock.last", at=clock(at, view.zone), old=before, new=when(new, view)))
    return lines


def write_upkeep(
    settings: Settings, view: View, search: str | None, told: dict[str, Any], who: str
) -> tuple[bool, str]:
    """Write one entry of the log; return whether it was, and what to say."""
    words = view.words
    if not who.strip():
        return False, words("setup.bad_who")
    try:
        author = signed(who.strip())
        with reading(settings.store) as reader:
            module = module_of(reader, search)
            if module is None:
                return False, words("empty.title")
            enter(reader, settings.store, module.id, told=told, author=author, at_ms=view.now, now=view.now)
    except UserError as error:
        return False, words("setup.failed", reason=refusal(error, words))
    return True, words("setup.done")
