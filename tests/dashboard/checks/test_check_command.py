"""`nightkeel check`: what is begun in one process goes on in the next; the sheet says SIMULATED."""

import json
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from nightkeel import LazyGroup
from tests.support.night_store import write_night


@pytest.fixture
def store(tmp_path):
    return write_night(tmp_path / "night.db", time.time_ns() // 1_000_000 - 360_000, 0.1)


def run(*words, typed=None):
    return CliRunner().invoke(LazyGroup(), [str(word) for word in words], input=typed)


def test_a_step_is_stored_and_the_next_process_goes_on(store, tmp_path):
    assert "never done" in run("check", "status", "--store", store).output
    began = run("check", "step", "torch", "--store", store, "--operator", "AB", typed="y\n")
    assert began.exit_code == 0, began.output
    assert run("check", "step", "suction", "--store", store, "--operator", "AB", typed="n\n").exit_code == 1
    said = json.loads(run("check", "status", "--store", store, "--json").output)
    assert {name: one["state"] for name, one in said["steps"].items()} == {
        "torch": "passed", "suction": "failed",
    }  # fmt: skip
    assert said["next"] == "supply"
    assert abs(said["steps"]["torch"]["at_ms"] - time.time() * 1000) < 60_000
    french = run("check", "status", "--store", store, "--lang", "fr", "--zone", "Africa/Nairobi").output
    assert "Lampe de poche au lit" in french
    printed = run("check", "print", "--store", store, "--out", tmp_path / "sheets")
    html, pdf = (Path(line).read_bytes() for line in printed.output.split())
    assert b"SIMULATED" in html
    assert b"Torch at the bed</td><td>passed" in html
    assert pdf.startswith(b"%PDF")


def test_a_person_does_not_decide_what_the_module_measures(store):
    run("check", "begin", "--store", store, "--operator", "AB")
    # Its mode is ventilator, and breaths came within the minute.
    said = run("check", "step", "hold", "--store", store, "--operator", "AB")
    assert "A breath was seen in the last 60 s" in str(said.exception)
    said = run("check", "step", "discharge", "--store", store, "--operator", "AB", "--list", "commissioning")
    assert "confirm that a second source stands ready" in str(said.exception)
    said = run("check", "step", "juggling", "--store", store, "--operator", "AB")
    assert "There is no step 'juggling'" in str(said.exception)
    assert json.loads(run("check", "status", "--store", store, "--json").output)["steps"] == {}


def test_without_a_module_nothing_is_begun(store):
    said = run("check", "step", "taps", "--store", store, "--operator", "AB", "--list", "commissioning")
    assert "No daemon answers for this store" in str(said.exception)
    found = json.loads(run("check", "status", "--store", store, "--list", "commissioning", "--json").output)
    assert found["open"] is None
