"""The command: mistakes end in one sentence and exit status 2."""

import socket
import subprocess
import sys
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]


def run(*arguments):
    command = [sys.executable, str(TOP / "nightkeel.py"), "dashboard", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


def refused(done, *said):
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    for part in said:
        assert part in done.stderr


def test_help_has_an_example():
    done = run("--help")
    assert done.returncode == 0
    assert "nightkeel dashboard --store night.db" in done.stdout


def test_a_store_that_is_not_there(tmp_path):
    refused(run("--store", tmp_path / "none.db"), "doesn't exist")


def test_a_file_that_is_no_store(tmp_path):
    path = tmp_path / "letter.db"
    path.write_text("Dear ward, " * 500)
    refused(run("--store", path), "letter.db")


@pytest.mark.parametrize("zone", ["Mars/Base", "../etc", ""])
def test_an_unknown_zone(store, zone):
    refused(run("--store", store, "--zone", zone), "time zone")


def test_an_address_beyond_this_machine(store):
    refused(run("--store", store, "--host", "0.0.0.0"), "passphrase")


def test_a_port_that_is_taken(store):
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        held.listen()
        refused(run("--store", store, "--port", held.getsockname()[1]), "can't be used", "--port")


def test_a_port_out_of_range(store):
    refused(run("--store", store, "--port", "70000"), "70000")
