"""Pages behind a sign-in: two persons, a clock of the test, and what reaches the daemon."""

import pytest

from dashboard.app import create_app
from dashboard.pages import controls
from dashboard.settings import Settings
from dashboard.users import Users, make_account
from tests.support.visitors import LOW_N, PHRASES, Clock, sign_in, visitor


@pytest.fixture(scope="module")
def accounts():
    return {
        "ward": make_account("view", PHRASES["ward"], LOW_N),
        "chief": make_account("operate", PHRASES["chief"], LOW_N),
    }


@pytest.fixture
def users(tmp_path, accounts):
    held = Users(tmp_path / "people")
    for name, account in accounts.items():
        held.put(name, account, new=True)
    return held


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def far(store, users, clock):
    """Settings of pages that are reached from elsewhere."""
    return Settings(store=store, host="192.0.2.7", users=users.path, steady=clock)


@pytest.fixture
def server(far):
    return create_app(far).server


@pytest.fixture
def stranger(server):
    return visitor(server)


@pytest.fixture
def ward(server):
    client = visitor(server)
    assert sign_in(client, "ward").status_code == 303
    return client


@pytest.fixture
def chief(server):
    client = visitor(server, "198.51.100.5")
    assert sign_in(client, "chief").status_code == 303
    return client


@pytest.fixture
def sent(monkeypatch):
    """What reaches the daemon's client: one (name of the operator) a command."""
    operators = []

    class Daemon:
        def __init__(self, store):
            pass

        def command(self, module, command, body, *, operator, reason, from_page):
            operators.append(operator)
            return 1

        def answered(self, row, wait_s):
            return {"result": 0}

    monkeypatch.setattr(controls, "Client", Daemon)
    return operators
