"""Bodies of any shape to the pages' callbacks: each is answered, and the server goes on."""

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dashboard.app import create_app
from dashboard.settings import Settings

UPDATE = "/_dash-update-component"
LEAVES = st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=20))
THINGS = st.recursive(
    LEAVES, lambda one: st.lists(one, max_size=3) | st.dictionaries(st.text(max_size=5), one), max_leaves=6
)


@pytest.fixture(scope="module")
def served(store):
    app = create_app(Settings(store=store))
    # As the real server does: what a callback raises becomes an answer, not the end.
    app.server.config["PROPAGATE_EXCEPTIONS"] = False
    client = app.server.test_client()
    asked = client.get("/_dash-dependencies", base_url="http://127.0.0.1:8050").json
    return client, [one for one in asked if not one.get("clientside_function")]


def answered(client, body):
    answer = client.post(UPDATE, base_url="http://127.0.0.1:8050", data=body, content_type="application/json")
    assert answer.status_code in (200, 204, 400, 403, 415, 500)
    assert b"Traceback" not in answer.data
    assert client.get("/_dash-layout", base_url="http://127.0.0.1:8050").status_code == 200


@given(data=st.data())
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_callbacks_with_inputs_of_any_kind(served, data):
    client, asked = served
    one = data.draw(st.sampled_from(asked))
    values = [{"id": part["id"], "property": part["property"], "value": data.draw(THINGS)}
              for part in one["inputs"] + one["state"]]  # fmt: skip
    count = len(one["inputs"])
    body = {
        "output": one["output"], "inputs": values[:count], "state": values[count:],
        "changedPropIds": [f"{part['id']}.{part['property']}" for part in values[:count]],
        "outputs": data.draw(THINGS),
    }  # fmt: skip
    answered(client, json.dumps(body))


@given(body=st.one_of(st.binary(max_size=60), THINGS.map(lambda one: json.dumps(one).encode())))
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_bodies_of_any_kind(served, body):
    answered(served[0], body)
