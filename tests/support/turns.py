"""Take turns: the long tests of which a part runs each day, and all of them in `make soak`."""

import datetime

import pytest


def due(names, always, parts, never=(), day=None):
    """Return the names that have their turn on a day (its ordinal; None: today in UTC)."""
    today = datetime.datetime.now(tz=datetime.UTC).toordinal() if day is None else day
    others = [name for name in names if name not in (*always, *never)]
    return {*always, *others[today % parts :: parts]}


def by_turns(names, always, parts, never=()):
    """Return test parameters: `always` in each run, `never` in the soak only, of the others some a day."""
    today = due(names, always, parts, never)
    return [name if name in today else pytest.param(name, marks=pytest.mark.soak) for name in names]
