"""Signing in and out, sessions, roles and commands.

The attacks are those that the OWASP Web Security Testing Guide lists for authentication, sessions and
authorisation (common practice). No test waits: lock-outs and ends of sessions go by a clock of the test.
"""

import re
from dataclasses import replace

import pytest

from dashboard.access import ACCOUNT, EXTENSION, LOGIN, LOGOUT
from dashboard.app import create_app
from dashboard.pages import marks
from dashboard.sessions import IDLE_S, OLD_TOKENS, WHOLE_S
from dashboard.users import make_account
from tests.support.visitors import (
    BASE,
    HOST,
    LOW_N,
    PHRASES,
    cookie,
    form_token,
    get,
    press,
    sign_in,
    visitor,
)


def test_the_right_passphrase_opens_and_sets_careful_cookies(stranger):
    answer = sign_in(stranger, "chief", next="/night?module=1")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/night?module=1")
    set_cookies = {one.split("=")[0]: one for one in answer.headers.getlist("Set-Cookie")}
    assert "HttpOnly" in set_cookies["nk_session"]
    assert "HttpOnly" not in set_cookies["_csrf_token"]
    for one in set_cookies.values():
        assert "SameSite=Strict" in one
        assert "Path=/" in one
    assert get(stranger, "/night").status_code == 200
    assert get(stranger, "/").headers["Cache-Control"] == "no-store"


def test_over_tls_the_cookies_stay_on_tls(far, tmp_path):
    server = create_app(replace(far, cert=tmp_path / "c", key=tmp_path / "k")).server
    client = server.test_client()
    base = f"https://{HOST}"
    page = client.get(LOGIN, base_url=base).get_data(as_text=True)
    token = re.search(r'name="token" value="([^"]+)"', page).group(1)
    data = {"name": "chief", "passphrase": PHRASES["chief"], "token": token}
    answer = client.post(LOGIN, base_url=base, data=data)
    held = answer.headers.getlist("Set-Cookie")
    assert answer.status_code == 303
    assert all("Secure" in one for one in held)
    assert any(one.startswith("__Host-nk_session=") for one in held)
    assert client.get("/", base_url=base).status_code == 200


@pytest.mark.parametrize(
    ("name", "phrase"),
    [("ward", "wrong wrong wrong"), ("ward", ""), ("nobody", "seven green wards"), ("", ""), ("ward\0", "x"),
     ("ward", "\ud800"), ("w" * 100_000, "x"), ("ward", "x" * 100_000)],
)  # fmt: skip
def test_a_wrong_pair_opens_nothing_and_says_not_which_half(stranger, name, phrase):
    answer = sign_in(stranger, name, phrase.encode("utf-8", "surrogatepass"))
    assert answer.status_code == 401
    assert "don&#39;t belong together" in answer.get_data(as_text=True)
    assert cookie(stranger, "nk_session") is None


def test_a_sign_in_form_from_elsewhere_or_sent_twice_is_refused(server, stranger):
    token = form_token(stranger)
    assert sign_in(visitor(server), "ward", token=token).status_code == 403
    assert sign_in(stranger, "ward", token="x").status_code == 403
    token = form_token(stranger)
    headers = {"Origin": "http://example.org"}
    data = {"name": "ward", "passphrase": PHRASES["ward"], "token": token}
    assert stranger.post(LOGIN, base_url=BASE, data=data, headers=headers).status_code == 403
    assert sign_in(stranger, "ward", token=token).status_code == 303
    assert sign_in(stranger, "ward", token=token).status_code == 403


def test_a_planted_session_is_never_taken_over(server, stranger):
    planted = "planted-by-somebody-else"
    stranger.set_cookie("nk_session", planted, domain="192.0.2.7")
    assert sign_in(stranger, "chief").status_code == 303
    assert cookie(stranger, "nk_session") not in (None, planted)
    other = visitor(server)
    other.set_cookie("nk_session", planted, domain="192.0.2.7")
    assert get(other, "/_dash-layout").status_code == 401


def test_signing_in_again_ends_the_session_before(server, ward):
    before = cookie(ward, "nk_session")
    assert sign_in(ward, "chief").status_code == 303
    thief = visitor(server)
    thief.set_cookie("nk_session", before, domain="192.0.2.7")
    assert get(thief, "/_dash-layout").status_code == 401


def test_signing_out_ends_the_session_at_the_server(server, ward):
    kept = cookie(ward, "nk_session")
    page = get(ward, ACCOUNT).get_data(as_text=True)
    assert "Signed in as ward" in page
    token = re.search(r'name="token" value="([^"]+)"', page).group(1)
    assert ward.post(LOGOUT, base_url=BASE, data={"token": "x"}).status_code == 403
    assert ward.post(LOGOUT, base_url=BASE, data={"token": token}).status_code == 303
    assert get(ward, "/_dash-layout").status_code == 401
    ward.set_cookie("nk_session", kept, domain="192.0.2.7")
    assert get(ward, "/_dash-layout").status_code == 401


def test_a_session_ends_when_nobody_asks_and_after_the_night(ward, chief, clock):
    clock.s += IDLE_S - 1
    assert get(ward, "/_dash-layout").status_code == 200
    clock.s += IDLE_S - 1
    assert get(ward, "/_dash-layout").status_code == 200
    assert get(chief, "/_dash-layout").status_code == 401
    begun = 1000.0
    while clock.s + 1000 < begun + WHOLE_S:
        clock.s += 1000
        assert get(ward, LOGIN).status_code == 200  # the sign-in page keeps no session alive
        assert get(ward, ACCOUNT).status_code == 200
    clock.s = begun + WHOLE_S
    assert get(ward, "/_dash-layout").status_code == 401


def test_a_removed_person_and_an_old_passphrase_are_out_at_once(ward, chief, users):
    users.remove("ward")
    assert get(ward, "/_dash-layout").status_code == 401
    users.put("chief", make_account("operate", PHRASES["chief"], LOW_N), new=False)
    assert get(chief, "/_dash-layout").status_code == 401


def test_a_file_of_users_that_others_may_read_serves_nobody(ward, users):
    users.path.chmod(0o644)
    assert get(ward, "/_dash-layout").status_code == 503
    users.path.chmod(0o600)
    users.path.write_text("{}")
    assert get(ward, "/_dash-layout").status_code == 503


def test_a_command_carries_the_name_of_the_person(chief, sent):
    answer = press(chief)
    assert answer.status_code == 200
    assert sent == ["chief"]


def test_who_may_only_view_sends_no_command(ward, sent):
    answer = press(ward)
    assert "may view, not operate" in answer.get_data(as_text=True)
    assert sent == []


def test_a_role_taken_away_counts_at_once(chief, users, sent):
    users.put("chief", replace(users.accounts()["chief"], role="view"), new=False)
    press(chief)
    assert sent == []


def test_the_same_command_sent_twice_is_a_command_once(chief, sent):
    token = cookie(chief, "_csrf_token")
    press(chief, token)
    assert cookie(chief, "_csrf_token") != token
    for _ in range(3):
        assert "press again" in press(chief, token).get_data(as_text=True)
    assert sent == ["chief"]
    press(chief)
    assert sent == ["chief", "chief"]


def test_reads_with_the_token_before_still_count_but_not_for_ever(chief, sent):
    token = cookie(chief, "_csrf_token")
    for _ in range(OLD_TOKENS):
        press(chief)
        assert press(chief, token).status_code == 200
    press(chief)
    assert press(chief, token).status_code == 403


def test_the_token_of_another_person_is_no_good(ward, chief, sent):
    assert press(ward, cookie(chief, "_csrf_token")).status_code == 403
    assert sent == []


def test_commands_by_strangers_and_from_elsewhere(stranger, chief, sent):
    assert press(stranger, "x").status_code == 401
    for headers in ({"Origin": "http://example.org"}, {"Sec-Fetch-Site": "cross-site"}):
        assert press(chief, **headers).status_code == 403
    assert sent == []


def test_a_mark_needs_the_role_and_bears_the_name(server, settings, view, ward, chief, monkeypatch):
    written = []
    monkeypatch.setattr(marks, "write", lambda store, module, draft, now: written.append(draft.author))

    def save(client):
        token = cookie(client, "_csrf_token")
        headers = {"X-CSRFToken": token, "Cookie": f"nk_session={cookie(client, 'nk_session')}"}
        with server.test_request_context("/", base_url=BASE, headers=headers):
            assert server.preprocess_request() is None
            return marks.saved(settings, view, "", None, ("23:00", "note", "AB", "x"))

    assert save(ward)[0] is False
    assert save(chief)[0] is True
    assert written == ["AB (chief)"]


def test_on_this_machine_without_users_nothing_is_asked(settings, sent):
    server = create_app(settings).server
    client = server.test_client()
    assert not server.extensions[EXTENSION].demanded
    assert client.get("/").status_code == 200
    assert "login" not in {rule.endpoint for rule in server.url_map.iter_rules()}
    body = "/_dash-layout"
    assert "Account" not in client.get(body).get_data(as_text=True)


def test_on_this_machine_with_users_everybody_signs_in(far):
    client = create_app(replace(far, host="127.0.0.1")).server.test_client()
    assert client.get("/_dash-layout").status_code == 401
