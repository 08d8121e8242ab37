"""Requests that a hostile page or a rebound name would send, by hand, on every route."""

import json
import re

import pytest

from dashboard.app import create_app
from dashboard.security import BODY_BYTES_MAX, is_loopback
from dashboard.serve import listen
from dashboard.settings import Settings
from ingest.errors import UserError

OURS = {"Host": "127.0.0.1:8050"}
UPDATE = "/_dash-update-component"
ROUTES = ("/", "/night", "/_dash-layout", "/_dash-dependencies", "/assets/nightkeel.css", "/nothing/here")


@pytest.fixture(scope="module")
def client(store):
    return create_app(Settings(store=store)).server.test_client()


@pytest.mark.parametrize("route", ROUTES)
def test_our_own_names_are_served(client, route):
    for host in ("127.0.0.1:8050", "localhost:8050", "[::1]:8050", "127.0.0.1"):
        assert client.get(route, headers={"Host": host}, buffered=True).status_code == 200


FORGED = ("example.org", "evil.example.org:8050", "127.0.0.1.example.org", "", "[::1")


@pytest.mark.parametrize("host", FORGED)
@pytest.mark.parametrize("route", ROUTES)
def test_a_forged_host_is_refused_everywhere(client, route, host):
    assert client.get(route, headers={"Host": host}, buffered=True).status_code in (400, 403)


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://example.org"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:9999"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_post_from_elsewhere_is_refused(client, headers):
    answer = client.post(UPDATE, headers=OURS | headers, data="{}", content_type="application/json")
    assert answer.status_code == 403


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data"])
def test_what_a_form_can_send_is_refused(client, kind):
    assert client.post(UPDATE, headers=OURS, data="{}", content_type=kind).status_code == 415


def test_a_huge_body_is_refused(client):
    answer = client.post(
        UPDATE, headers=OURS, data=b" " * (BODY_BYTES_MAX + 1), content_type="application/json"
    )
    assert answer.status_code == 413


@pytest.mark.parametrize(
    "path",
    [
        "/assets/../app.py",
        "/assets/%2e%2e/app.py",
        "/assets/..%2fapp.py",
        "/assets/....//app.py",
        "/_dash-component-suites/dash/../../../../etc/passwd",
    ],
)
def test_paths_lead_nowhere_else(client, path):
    answer = client.get(path, headers=OURS, buffered=True)
    assert b"create_app" not in answer.data
    assert b"root:" not in answer.data


@pytest.mark.parametrize("route", ROUTES)
def test_every_answer_carries_the_headers(client, route):
    headers = client.get(route, headers=OURS, buffered=True).headers
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    policy = headers["Content-Security-Policy"]
    scripts = re.search(r"script-src ([^;]*)", policy).group(1)
    assert "unsafe" not in scripts
    assert "http" not in policy


def test_nothing_is_fetched_from_anywhere_else(client):
    page = client.get("/", headers=OURS).get_data(as_text=True)
    sources = re.findall(r'(?:src|href)="([^"]+)"', page)
    assert sources
    assert all(one.startswith("/") for one in sources)
    assert any("plotly-basic" in one for one in sources)
    assert not any(heavy in one for one in sources for heavy in ("plotly.min", "polyfill", "dash_table"))
    assert sources.index("/assets/nightkeel.svg") + 1 == next(
        place for place, one in enumerate(sources) if one.startswith("/assets/nightkeel.js")
    )


def test_broken_callbacks_do_not_take_the_server_down(client):
    for body in ("", "[]", "{", '{"output":"x"}', json.dumps({"output": "now-head.children", "inputs": 5})):
        answer = client.post(UPDATE, headers=OURS, data=body, content_type="application/json")
        assert answer.status_code >= 400
    assert client.get("/", headers=OURS).status_code == 200


@pytest.mark.parametrize("host", ["0.0.0.0", "192.0.2.7", "::", "example.org"])
def test_beyond_this_machine_nothing_is_served_without_a_passphrase(store, host):
    with pytest.raises(UserError, match="passphrase"):
        listen(Settings(store=store, host=host))


def test_loopback_is_known():
    assert [is_loopback(host) for host in ("127.0.0.1", "127.8.9.1", "::1", "localhost")] == [True] * 4
    assert not is_loopback("10.0.0.1")
