"""Whatever comes over the control socket is answered in JSON; nothing reaches the loop as an exception."""

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.control import LINE_MAX, ControlSocket
from ingest.host import Host
from ingest.pipeline import Now
from ingest.requests import Requests
from ingest.store.writer import Writer

NAMES = (
    "module", "command", "body", "operator", "reason", "from_page", "id", "mark", "utc", "utc_end", "kind",
    "author", "text", "data", "site", "bed", "mode", "preset", "label", "end", "record_only", "name", "boot",
    "seq", "live_from", "live_seq", "rejected", "newest",
)  # fmt: skip
LEAVES = st.one_of(
    st.none(), st.booleans(), st.integers(-(2**70), 2**70), st.floats(), st.text(max_size=9),
    st.sampled_from(["", "00", "ff" * 20, "\ud800", "ventilator", "adult", "x" * 5000]),
)  # fmt: skip
MANY = st.dictionaries(st.text(max_size=3), LEAVES, max_size=2)
VALUES = st.one_of(LEAVES, st.lists(LEAVES, max_size=2), MANY)


class Nowhere:
    """A selector that watches nothing."""

    def register(self, *_):
        pass

    unregister = register


@pytest.fixture(scope="module")
def control(tmp_path_factory):
    writer = Writer(tmp_path_factory.mktemp("c") / "s.db", 0)
    requests = Requests(Host(writer), lambda: Now(0, 1_700_000_000_000))
    made = ControlSocket(writer.path, Nowhere(), requests)
    made.known = list(requests._table)
    yield made
    made.close()
    writer.close()


def answered(control, data):
    found = json.loads(json.dumps(control._respond(data)))
    assert found["ok"] in (True, False)
    assert found["ok"] or found["error"]
    return found


@given(st.data())
@settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_a_request_of_any_fields_is_answered(control, data):
    wanted = data.draw(st.sampled_from(control.known))
    fields = data.draw(st.dictionaries(st.sampled_from(NAMES), VALUES, max_size=12))
    answered(control, json.dumps({"do": wanted, **fields}).encode() + b"\n")


@given(st.one_of(st.binary(max_size=80), st.from_regex(r"[\[\]{}:,\"0-9eE.+-]{0,60}").map(str.encode)))
def test_bytes_of_any_kind_are_answered(control, data):
    assert not answered(control, data + b"\n")["ok"]


def test_depth_and_length_are_bounded(control):
    for data in (b"[" * 100_000, b"x" * (LINE_MAX + 1), b'{"do":' * 20_000, b"1" * 60_000, b"\n", b""):
        assert not answered(control, data)["ok"]
