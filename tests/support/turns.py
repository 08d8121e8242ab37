"""Take turns: the long tests of which a part runs each day, and all of them in `make soak`."""

import datetime

import pytest


def by_turns(names, always, parts, never=()):
    """Return test parameters: `always` in each run, `never` in the soak only, of the others some a day."""
    today = datetime.datetime.now(tz=datetime.UTC).toordinal() % parts
    others = [name for name in names if name not in (*always, *never)]
    due = {*always, *others[today::parts]}
    return [name if name in due else pytest.param(name, marks=pytest.mark.soak) for name in names]
