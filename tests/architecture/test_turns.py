"""Long tests that take turns: none is left out for good."""

from firmware_sim import scenarios
from tests.support.turns import by_turns, due

ALWAYS = ("monsoon-night", "circuit-apart")


def test_each_night_has_its_turn_within_as_many_days_as_parts():
    days = [due(scenarios.names(), ALWAYS, 6, day=739_945 + day) for day in range(6)]
    assert set.union(*days) == set(scenarios.names())
    assert set.intersection(*days) == set(ALWAYS)
    assert max(map(len, days)) - min(map(len, days)) <= 1


def test_what_has_no_turn_today_is_left_for_the_soak():
    marked = [one for one in by_turns(scenarios.names(), ALWAYS, 6) if not isinstance(one, str)]
    assert all(one.marks[0].name == "soak" for one in marked)
    assert len(marked) > len(scenarios.names()) / 2
