"""Planted mistakes are caught by the promise that is meant to; the code as it is passes the same seeds."""

import pytest

from tests.simulation.checks import ALL
from tests.simulation.mutants import MUTANTS, planted
from tests.simulation.promises import PROMISES
from tests.simulation.run import play

SEEDS = range(1, 31)


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name)
def test_a_mutant_is_caught_by_its_promise(mutant):
    others = []
    for seed in SEEDS:
        with planted(mutant):
            found = play(seed)[3]
        if found and found.startswith(f"{mutant.caught_by}: "):
            assert play(seed)[3] is None
            return
        others += [found] if found else []
    pytest.fail(f"'{mutant.caught_by}' didn't notice it in {len(SEEDS)} seeds; others did: {others[:3]}")


def test_every_promise_has_a_mutant():
    """A checker that never caught anything is decoration."""
    names = {check.name for check in ALL} | {"the model agrees", "settles"}
    assert {mutant.caught_by for mutant in MUTANTS} == names


def test_every_promise_stands_in_the_table():
    named = {check for row in PROMISES for check in row.checks}
    assert named == {check.name for check in ALL} | {"the model agrees", "settles"}
