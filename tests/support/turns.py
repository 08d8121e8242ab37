"""Take turns: the long tests of which a part runs each day, and all of them in `make soak`."""

import datetime
import os

import pytest

_DAY = "NIGHTKEEL_TEST_DAY"


def today():
    """Return the run's day as an ordinal, UTC: looked at once, and the same in all its processes."""
    return int(os.environ.setdefault(_DAY, str(datetime.datetime.now(tz=datetime.UTC).toordinal())))


def due(names, always, parts, day=None):
    """Return the names that have their turn on a day (its ordinal; None: today)."""
    others = [name for name in names if name not in always]
    return {*always, *others[(today() if day is None else day) % parts :: parts]}


def by_turns(names, always, parts):
    """Return test parameters: `always` in each run, of the others some a day."""
    chosen = due(names, always, parts)
    return [name if name in chosen else pytest.param(name, marks=pytest.mark.soak) for name in names]
