"""Guessing passphrases costs the guesser, and locks nobody else out.

The attacks are those that the OWASP Web Security Testing Guide lists for authentication, sessions and
authorisation (common practice). No test waits: lock-outs and ends of sessions go by a clock of the test.
"""

import re
import time

from dashboard.access import EXTENSION, LOGIN
from dashboard.sessions import KEPT_MAX, Sessions
from dashboard.throttle import FREE_TRIES, LOCK_S, LOCK_TRIES, WAIT_S_MAX, Throttle, network
from dashboard.throttle import KEPT_MAX as TALLIES_MAX
from dashboard.users import Users
from tests.support.visitors import BASE, form_token, sign_in, visitor


def test_too_many_wrong_passphrases_lock_the_name_at_that_address_only(server, clock, users):
    guesser, owner = visitor(server), visitor(server, "127.0.0.1")
    for _ in range(LOCK_TRIES):
        clock.s += WAIT_S_MAX
        assert sign_in(guesser, "chief", "wrong").status_code == 401
    clock.s += WAIT_S_MAX
    answer = sign_in(guesser, "chief")
    assert answer.status_code == 429
    assert int(answer.headers["Retry-After"]) == LOCK_S - WAIT_S_MAX
    assert "nightkeel user unlock" in answer.get_data(as_text=True)
    assert sign_in(owner, "chief").status_code == 303
    assert sign_in(guesser, "ward").status_code == 303
    clock.s += LOCK_S - WAIT_S_MAX
    assert sign_in(guesser, "chief").status_code == 303


def test_the_console_ends_a_lock(server, clock, users):
    guesser = visitor(server)
    for _ in range(LOCK_TRIES):
        clock.s += WAIT_S_MAX
        sign_in(guesser, "chief", "wrong")
    clock.s += WAIT_S_MAX
    assert sign_in(guesser, "chief").status_code == 429
    users.unlock("chief")
    assert sign_in(guesser, "chief").status_code == 303


def test_an_unknown_name_is_locked_like_a_known_one(server, clock):
    def statuses(name):
        client = visitor(server, f"203.0.113.{len(name)}")
        out = []
        for _ in range(LOCK_TRIES + 2):
            clock.s += WAIT_S_MAX
            out.append(sign_in(client, name, "wrong").status_code)
        return out

    assert statuses("chief") == statuses("nobody")


def test_a_thousand_guesses_cost_little_and_find_nothing(server, stranger, users, monkeypatch):
    hashed = []
    check = Users.check
    monkeypatch.setattr(Users, "check", lambda self, *pair: hashed.append(1) or check(self, *pair))
    token = form_token(stranger)
    begun = time.process_time()
    for number in range(1000):
        answer = stranger.post(
            LOGIN, base_url=BASE, data={"name": f"name{number}", "passphrase": "x", "token": token}
        )
        assert answer.status_code in (401, 429)
        token = re.search(r'name="token" value="([^"]+)"', answer.get_data(as_text=True)).group(1)
    assert len(hashed) == FREE_TRIES + 1
    assert time.process_time() - begun < 20
    assert sign_in(visitor(server, "127.0.0.1"), "chief").status_code == 303


def test_slips_cost_nothing_then_the_wait_grows_to_its_limit():
    throttle, now, waits = Throttle(), 0.0, []
    for number in range(12):
        wait = throttle.begin(f"name{number}", "198.51.100.4", 0, now)
        while wait:
            now += wait
            waits.append(wait)
            wait = throttle.begin(f"name{number}", "198.51.100.4", 0, now)
    assert waits[:5] == [2, 4, 8, 16, WAIT_S_MAX]
    assert max(waits) == WAIT_S_MAX
    assert len(waits) == 12 - FREE_TRIES - 1


def test_tallies_and_sessions_stay_bounded():
    throttle, sessions = Throttle(), Sessions()
    for number in range(TALLIES_MAX + 50):
        throttle.begin(f"name{number}", f"10.{number >> 16}.{number >> 8 & 255}.{number & 255}", 0, 0.0)
    assert len(throttle._addresses) == len(throttle._pairs) == TALLIES_MAX
    first, _ = sessions.open("ward", "00", 0.0)
    for _ in range(KEPT_MAX):
        last, _ = sessions.open("ward", "00", 0.0)
    assert sessions.find(first, 0.0) is None
    assert sessions.find(last, 0.0) is not None


def test_one_ipv6_site_is_one_address():
    assert network("2001:db8:0:1::5") == network("2001:db8:0:1:ffff::9") != network("2001:db8:0:2::5")
    assert network("::ffff:198.51.100.4") == network("198.51.100.4")


def test_tries_side_by_side_gain_nothing(server, stranger):
    gate = server.extensions[EXTENSION]
    assert gate._hashing.acquire(blocking=False)
    assert sign_in(stranger, "chief").status_code == 429
    gate._hashing.release()
    assert sign_in(stranger, "chief").status_code == 303
