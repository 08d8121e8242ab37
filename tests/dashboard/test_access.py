"""Everything a stranger or a person with too small a role may send by hand, on every route there is.

The attacks are those that the OWASP Web Security Testing Guide lists for authentication, sessions and
authorisation (common practice). No test waits: lock-outs and ends of sessions go by a clock of the test.
"""

import ast
import json
import re
import time
from dataclasses import replace
from pathlib import Path
from urllib.parse import unquote

import pytest

import dashboard
from dashboard.access import ACCOUNT, EXTENSION, LOGIN, LOGOUT, OPEN_PATHS, safe_place
from dashboard.app import create_app
from dashboard.pages import controls, marks
from dashboard.security import BODY_BYTES_MAX
from dashboard.sessions import IDLE_S, KEPT_MAX, OLD_TOKENS, WHOLE_S, Sessions
from dashboard.settings import Settings
from dashboard.throttle import FREE_TRIES, LOCK_S, LOCK_TRIES, WAIT_S_MAX, Throttle, network
from dashboard.throttle import KEPT_MAX as TALLIES_MAX
from dashboard.users import Users, make_account

HOST = "192.0.2.7:8050"
BASE = f"http://{HOST}"
UPDATE = "/_dash-update-component"
PHRASES = {"ward": "seven green wards", "chief": "a chief of the night"}
LOW_N = 16  # scrypt cost of the tests; the shipped one is checked on its own


class Clock:
    """Seconds that the test moves."""

    def __init__(self):
        self.s = 1000.0

    def __call__(self):
        return self.s


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


def visitor(server, address="198.51.100.4"):
    """Return a browser at an address, with no cookie."""
    client = server.test_client()
    client.environ_base["REMOTE_ADDR"] = address
    return client


def get(client, path, **options):
    return client.get(path, base_url=BASE, buffered=True, **options)


def form_token(client):
    page = get(client, LOGIN).get_data(as_text=True)
    return re.search(r'name="token" value="([^"]+)"', page).group(1)


def sign_in(client, name, phrase=None, token=None, **fields):
    data = {"name": name, "passphrase": PHRASES.get(name, "") if phrase is None else phrase, **fields}
    data["token"] = form_token(client) if token is None else token
    return client.post(LOGIN, base_url=BASE, data=data)


def cookie(client, name):
    found = client.get_cookie(name, domain="192.0.2.7")
    return None if found is None else found.value


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


def press(client, token=None, **headers):
    """Press 'pause sound' by hand."""
    button = {"kind": "now-control", "do": "pause_audio"}
    body = {
        "output": "now-answer.children",
        "outputs": {"id": "now-answer", "property": "children"},
        "inputs": [[{"id": button, "property": "n_clicks", "value": 1}]],
        "changedPropIds": [json.dumps(button, sort_keys=True, separators=(",", ":")) + ".n_clicks"],
        "state": [{"id": "url", "property": "search", "value": ""}],
    }
    token = cookie(client, "_csrf_token") if token is None else token
    return client.post(UPDATE, base_url=BASE, json=body, headers={"X-CSRFToken": token or ""} | headers)


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

        def answer(self, row):
            return {"result": 0}

    monkeypatch.setattr(controls, "Client", Daemon)
    return operators


# --- every route


def every_route(store, tmp_path_factory):
    """Return (method, address) of all that the server knows, and of addresses that it must not know."""
    users = Users(tmp_path_factory.mktemp("routes") / "people")
    users.put("ward", make_account("view", PHRASES["ward"], LOW_N), new=True)
    server = create_app(Settings(store=store, host="192.0.2.7", users=users.path)).server
    filled = {
        "filename": "nightkeel.js", "package_name": "dash", "fingerprinted_path": "x.js", "path": "night",
    }  # fmt: skip
    out = []
    for rule in server.url_map.iter_rules():
        address = re.sub(r"<(?:\w+:)?(\w+)>", lambda found: filled[found.group(1)], rule.rule)
        out += [(method, address) for method in sorted(rule.methods)]
    return server, out


def test_no_route_answers_without_a_cookie(store, tmp_path_factory):
    server, routes = every_route(store, tmp_path_factory)
    assert len(routes) > 25
    assert {LOGIN, LOGOUT, ACCOUNT, UPDATE} <= {address for _, address in routes}
    for method, address in [*routes, *(("POST", address) for _, address in routes)]:
        if address in OPEN_PATHS:
            continue
        for headers in ({}, {"Cookie": "nk_session=" + "A" * 43}, {"Accept": "text/html"}):
            data = {"token": "x"} if address == LOGOUT else None
            answer = visitor(server).open(
                address,
                method=method,
                base_url=BASE,
                headers=headers,
                buffered=True,
                **({"data": data} if data else {"json": {}} if method == "POST" else {}),
            )
            assert answer.status_code in (303, 401), (method, address, headers)
            assert len(answer.data) < 400
            if answer.status_code == 303:
                assert answer.headers["Location"].startswith("/login?next=")


def test_every_route_refuses_a_foreign_host_even_with_a_session(store, tmp_path_factory):
    server, routes = every_route(store, tmp_path_factory)
    client = visitor(server)
    assert sign_in(client, "ward").status_code == 303
    name = f"nk_session={cookie(client, 'nk_session')}"
    for method, address in routes:
        for host in ("example.org", "192.0.2.7.example.org", "192.0.2.8:8050", ""):
            answer = visitor(server).open(
                address, method=method, headers={"Host": host, "Cookie": name}, buffered=True
            )
            assert answer.status_code in (400, 403), (method, address, host)


def test_every_post_needs_the_token_and_our_origin(store, tmp_path_factory):
    server, routes = every_route(store, tmp_path_factory)
    client = visitor(server)
    assert sign_in(client, "ward").status_code == 303
    token = cookie(client, "_csrf_token")
    posts = [address for method, address in routes if method == "POST" and address != LOGIN]
    assert set(posts) == {UPDATE, LOGOUT}
    for address in posts:
        for given in ("", "x", "é", token[:-1], "A" * 43):
            answer = client.post(address, base_url=BASE, json={}, headers={"X-CSRFToken": given})
            assert answer.status_code == 403, (address, given)
        for origin in (
            "http://example.org",
            "null",
            "http://192.0.2.7:9",
            "http://192.0.2.7.example.org:8050",
        ):
            headers = {"X-CSRFToken": token, "Origin": origin}
            assert client.post(address, base_url=BASE, json={}, headers=headers).status_code == 403
    assert get(client, "/").status_code == 200


@pytest.mark.parametrize(
    "path",
    [
        "//_dash-layout", "/%5fdash-layout", "/login/../_dash-layout", "/login/..%2f_dash-layout",
        "/login%2f..%2f_dash-layout", "/assets/nightkeel.css/../nightkeel.js", "/assets/nightkeel.css%2f",
        "/assets/..%2f..%2fetc%2fpasswd", "/assets/%2e%2e/app.py", "/login;/_dash-layout", "/login%00",
        "/LOGIN", "/login/", "//login", "/_dash-component-suites/dash/..%2f..%2f..%2fetc/passwd",
        "/assets//nightkeel.js", "/./night",
    ],
)  # fmt: skip
def test_no_trick_with_the_path_goes_round_the_gate(stranger, path):
    answer = get(stranger, path)
    assert answer.status_code in (303, 401)
    assert len(answer.data) < 400


def test_the_open_addresses_hold_nothing_of_the_record(stranger):
    for path in OPEN_PATHS:
        answer = get(stranger, path)
        assert answer.status_code == 200
        assert b"SIMULATED" not in answer.data
    assert get(stranger, "/assets/nightkeel.js").status_code == 401


# --- signing in and out


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


# --- roles and commands


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


# --- guessing


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


# --- bodies and headers


@pytest.mark.parametrize("path", [LOGIN, LOGOUT, UPDATE])
def test_huge_bodies_are_refused(chief, path):
    headers = {"X-CSRFToken": cookie(chief, "_csrf_token")}
    body = b"name=" + b"x" * (BODY_BYTES_MAX + 1)
    kind = "application/json" if path == UPDATE else "application/x-www-form-urlencoded"
    answer = chief.post(path, base_url=BASE, data=body, content_type=kind, headers=headers)
    assert answer.status_code == 413


PLANTED = "\r\nSet-Cookie: nk_session=planted"


@pytest.mark.parametrize(
    "asked",
    ["/night" + PLANTED, "//example.org", "/\\example.org", "http://example.org", "javascript:alert(1)", "",
     "/\tx", "/é", "night", "/" + "x" * 600],
)  # fmt: skip
def test_the_way_on_leads_nowhere_else_and_plants_no_header(stranger, asked):
    assert safe_place(asked) == "/"
    answer = sign_in(stranger, "ward", next=asked)
    assert answer.headers["Location"] == "/"
    assert "planted" not in str(answer.headers)


def test_what_was_asked_comes_back_as_text_only(stranger):
    answer = get(stranger, "/night%22%3E%3Cscript%3Ealert(1)%3C/script%3E?x=%0d%0aSet-Cookie:%20a=b",
                 headers={"Accept": "text/html"})  # fmt: skip
    assert answer.status_code == 303
    assert len(answer.headers.getlist("Set-Cookie")) == 0
    page = get(stranger, answer.headers["Location"]).get_data(as_text=True)
    assert "<script" not in unquote(page)


def test_the_sign_in_page_needs_no_script_and_carries_the_headers(stranger):
    answer = get(stranger, LOGIN)
    page = answer.get_data(as_text=True)
    assert "<script" not in page
    assert page.count("<label for=") == 2
    assert 'lang="en"' in page
    assert "never the only or the primary" in page
    for name in ("Content-Security-Policy", "X-Frame-Options", "X-Content-Type-Options", "Referrer-Policy"):
        assert answer.headers[name]
    assert answer.headers["Cache-Control"] == "no-store"


# Rooms that write into the record or send to the module; whoever calls them must say who does it.
WRITING = {"dashboard.marking": ("write", "change"), "dashboard.changing": ("send",)}
DOORS = ("changing.py", "marking.py", "pages/controls.py", "pages/settings.py")


def unnamed_writers(source):
    """Name the functions that write or command without asking `operator` or `signed` who it is."""
    tree = ast.parse(source)
    taken = {
        alias.asname or alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
        if alias.name in WRITING.get(node.module, ())
    }
    found = []
    for node in tree.body:
        called = {
            part.func.id if isinstance(part.func, ast.Name) else getattr(part.func, "attr", "")
            for part in ast.walk(node)
            if isinstance(part, ast.Call)
        }
        writes, asks = called & {*taken, "command"}, called & {"operator", "signed"}
        if isinstance(node, ast.FunctionDef) and writes and not asks:
            found.append(node.name)
    return found


def test_every_page_that_writes_asks_who_it_is():
    top = Path(dashboard.__file__).parent
    doors = []
    for path in sorted(top.rglob("*.py")):
        source, name = path.read_text("utf-8"), path.relative_to(top).as_posix()
        if "control_client" in source or "store.annotations" in source:
            doors.append(name)
        if name.startswith("pages/"):
            assert unnamed_writers(source) == [], name
    assert tuple(doors) == DOORS


def test_the_check_sees_a_page_that_does_not_ask():
    lines = ["from dashboard.marking import write", "def save():", "    write(1)"]
    assert unnamed_writers("\n".join(lines)) == ["save"]
    assert unnamed_writers("\n".join([*lines, "    signed('AB')"])) == []
    assert unnamed_writers("def press():\n    client.command(1)") == ["press"]
