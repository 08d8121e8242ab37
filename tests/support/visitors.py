"""Browsers by hand: what a visitor of pages that are reached from elsewhere sends, and a clock to move."""

import json
import re

from dashboard.access import LOGIN

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
