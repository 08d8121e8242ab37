"""Cases from marks, and what makes an end look forgotten. How long until somebody is asked: house rules."""

from dataclasses import dataclass, field

import pytest

from ingest.analysis import cases as c
from ingest.analysis.refusal import Refused

START = 1_772_308_800_000
MINUTE = 60_000


@dataclass
class Mark:
    mark: int
    utc: int
    kind: str = c.KIND
    data: dict = field(default_factory=dict)
    utc_end: int | None = None
    module: int = 7
    author: str = "AB"
    text: str = ""


def mark(number, start, end=None, state=c.OPEN, **other):
    data = {"number": number, "mode": "ventilator", "preset": "adult", "state": state}
    return Mark(mark=10 + number, utc=start, utc_end=end, data=data, **other)


def test_cases_are_read_by_start_and_what_is_none_is_left_out():
    odd = [
        Mark(mark=1, utc=START, kind="note"),
        Mark(mark=2, utc=START, data={"number": "1", "state": "open"}),
        Mark(mark=3, utc=START, data={"number": 1, "state": "?"}),
    ]
    found = c.cases([mark(2, START + 10), *odd, mark(1, START, START + 5, c.ENDED)])
    assert [one.number for one in found] == [1, 2]
    assert c.open_case(found).number == 2
    assert c.next_number(found) == 3
    assert c.next_number(()) == 1
    assert c.numbered(found, 1).end == START + 5
    with pytest.raises(Refused, match=r"no case 9 of this module; there are 1, 2"):
        c.numbered(found, 9)


def test_an_end_lies_after_the_start_and_not_in_the_future():
    (one,) = c.cases([mark(1, START)])
    assert c.checked_end(one, START + 1, START + 1) == START + 1
    for end in (START, START - 1, START + 3):
        with pytest.raises(Refused, match="only after its start and not later than now"):
            c.checked_end(one, end, START + 2)


def asked(now_min, *, breath=None, trend=None, standby=None, goes_on=None, state=c.OPEN, end=None):
    """Return the keys of the questions; arguments in minutes after the start."""
    (one,) = c.cases([mark(1, START, end, state)])
    at = {
        "last_breath_ms": breath, "last_trend_ms": trend, "standby_since_ms": standby, "goes_on_ms": goes_on,
    }  # fmt: skip
    given = {name: None if value is None else START + value * MINUTE for name, value in at.items()}
    return [each.key for each in c.questions(one, now_ms=START + now_min * MINUTE, **given)]


@pytest.mark.parametrize(
    ("given", "keys"),
    [
        # A bed at work is not asked about.
        ({"now_min": 600, "breath": 600, "trend": 600}, []),
        ({"now_min": 100, "breath": 71, "trend": 100}, []),
        ({"now_min": 100, "breath": 70, "trend": 100}, ["case.ask.quiet"]),
        # No breath in this case at all: counted from its start, not from the last patient's breath.
        ({"now_min": 29, "breath": -500, "trend": 29}, []),
        ({"now_min": 30, "breath": -500, "trend": 30}, ["case.ask.quiet"]),
        ({"now_min": 100, "breath": 99, "trend": 100, "standby": 86}, []),
        ({"now_min": 100, "breath": 99, "trend": 100, "standby": 85}, ["case.ask.standby"]),
        # What a silent module would say of breaths nobody knows: one question, not two.
        ({"now_min": 159, "breath": 60, "trend": 100}, ["case.ask.quiet"]),
        ({"now_min": 160, "breath": 60, "trend": 100}, ["case.ask.dark"]),
        ({"now_min": 60}, ["case.ask.dark"]),
        # 'It goes on' holds for two hours.
        ({"now_min": 219, "breath": 0, "trend": 219, "goes_on": 100}, []),
        ({"now_min": 220, "breath": 0, "trend": 220, "goes_on": 100}, ["case.ask.quiet"]),
        ({"now_min": 100, "breath": 0, "trend": 100, "goes_on": -10}, ["case.ask.quiet"]),
        ({"now_min": 20, "breath": 20, "trend": 20, "state": c.ASKED}, ["case.ask.never_confirmed"]),
        ({"now_min": 900, "end": START + 1, "state": c.ENDED}, []),
    ],
)
def test_a_forgotten_end_is_noticed(given, keys):
    assert asked(**given) == keys


def test_a_question_says_what_was_noticed():
    (one,) = c.cases([mark(1, START)])
    question, = c.questions(
        one, now_ms=START + 45 * MINUTE, last_breath_ms=START + 4 * MINUTE, last_trend_ms=START + 45 * MINUTE,
        standby_since_ms=None,
    )  # fmt: skip
    assert question.noticed == "no breath was seen for 41 min"
    assert question.since_ms == START + 4 * MINUTE
    nothing = {"last_breath_ms": None, "last_trend_ms": None, "standby_since_ms": None}
    assert c.questions(None, now_ms=START, **nothing) == ()
