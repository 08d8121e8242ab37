"""Everything a stranger may send by hand, on every route there is; bodies and headers.

The attacks are those that the OWASP Web Security Testing Guide lists for authentication, sessions and
authorisation (common practice). No test waits: lock-outs and ends of sessions go by a clock of the test.
"""

import ast
import re
from pathlib import Path
from urllib.parse import unquote

import pytest

import dashboard
from dashboard.access import ACCOUNT, LOGIN, LOGOUT, OPEN_PATHS, safe_place
from dashboard.app import create_app
from dashboard.security import BODY_BYTES_MAX
from dashboard.settings import Settings
from dashboard.users import Users, make_account
from tests.support.visitors import BASE, LOW_N, PHRASES, UPDATE, cookie, get, sign_in, visitor


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
WRITING = {"dashboard.marking": ("write", "change"), "dashboard.changing": ("send",),
           "dashboard.benching": ("play",), "dashboard.checking": ("guide", "tell_module"),
           "dashboard.upkeep_words": ("enter",)}  # fmt: skip
ROOMS = ("pages/", "setup_doing.py")
DOORS = ("benching.py", "casing.py", "changing.py", "checking.py", "marking.py", "pages/controls.py",
         "pages/settings.py")  # fmt: skip


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
        if any(room in source for room in ("control_client", "ingest.marks")):
            doors.append(name)
        if name.startswith(ROOMS):
            assert unnamed_writers(source) == [], name
    assert tuple(doors) == DOORS


def test_the_check_sees_a_page_that_does_not_ask():
    lines = ["from dashboard.marking import write", "def save():", "    write(1)"]
    assert unnamed_writers("\n".join(lines)) == ["save"]
    assert unnamed_writers("\n".join([*lines, "    signed('AB')"])) == []
    assert unnamed_writers("def press():\n    client.command(1)") == ["press"]
