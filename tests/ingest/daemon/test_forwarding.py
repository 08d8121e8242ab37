"""Forwarding beside the recording: a dead server slows nothing, and nothing is lost when it comes back."""

import signal

import pytest

from ingest.store.outbox import Outbox
from tests.support.scripted_server import ScriptedServer
from tests.support.store_check import check_whole, lines_of


@pytest.fixture
def server():
    made = ScriptedServer([(503, {})] * 3)
    yield made
    made.close()


def taken_by(store, name):
    outbox = Outbox(store, name)
    try:
        (place,) = outbox.places()
        return place, lines_of(outbox, place.boot, 0, place.seq)
    finally:
        outbox.close()


def test_records_are_forwarded_while_they_are_recorded(pty_module, run_ingest, wait_for, tmp_path, server):
    module, store = pty_module(seconds_per_s=40.0), tmp_path / "night.db"
    process = run_ingest("--link", module.path, "--store", store, "--forward", server.url, "--bucket", "b")
    wait_for(lambda: module.module.acked > 100, what="recording while the server fails")
    wait_for(lambda: len(server.lines) > 60, timeout_s=25, what="lines at the server")
    process.send_signal(signal.SIGTERM)
    _, err = process.communicate(timeout=20)
    assert process.returncode == 0, err
    check_whole(store, module.module, module.module.acked)
    place, lines = taken_by(store, f"{server.url} b")
    assert place.seq > 0
    assert set(lines) <= set(server.lines)


def test_a_dead_server_slows_no_recording(pty_module, run_ingest, wait_for, tmp_path):
    module, store = pty_module(seconds_per_s=40.0), tmp_path / "night.db"
    process = run_ingest("--link", module.path, "--store", store, "--forward", "http://127.0.0.1:9")
    wait_for(lambda: module.module.acked > 300)
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=20)
    assert process.returncode == 0
    check_whole(store, module.module, module.module.acked)


def test_a_wrong_address_is_one_sentence(run_ingest, tmp_path):
    process = run_ingest("--link", "/dev/null", "--store", tmp_path / "s.db", "--forward", "nowhere")
    _, err = process.communicate(timeout=20)
    assert process.returncode == 2
    assert "no server address" in err
    assert "Traceback" not in err
