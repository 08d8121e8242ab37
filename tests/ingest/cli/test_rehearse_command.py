"""`nightkeel rehearse` as a person calls it."""

import json

import pytest
from click.testing import CliRunner

from firmware_sim.cli.scenarios import scenarios
from firmware_sim.contract import alarms
from ingest.cli.rehearse import rehearse
from ingest.errors import UserError
from ingest.store.reader import open_reader
from ingest.store.writer import Writer
from tests.support.nights import play


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """12 min of a circuit that comes apart."""
    path = tmp_path_factory.mktemp("rehearse") / "apart.db"
    play("reset-mid-case", path, 0.6)
    return path


def run(*words):
    return CliRunner().invoke(rehearse, [str(word) for word in words], catch_exceptions=False)


def test_one_object_with_missed_events_first(store, tmp_path):
    with open_reader(store) as reader:
        found = reader.recordings(reader.modules()[0].id, 0, 1 << 50)[-1]
    raised = next(one for one in found.recorded if one.row == alarms.ID_OF["disconnected"])
    start = found.utc_ms(raised.tick)
    truth = tmp_path / "truth.json"
    both = ("disconnected", "purity_low")
    events = [{"start_ms": start, "end_ms": start + 500, "condition": one} for one in both]
    truth.write_text(json.dumps(events))
    done = run(store, "--set", "oxygen.delay=20", "--truth", truth, "--json")
    report = json.loads(done.output)
    assert next(iter(report)) == "missed"
    assert [one["condition"] for one in report["missed"]] == ["purity_low"]
    assert report["late"] == []
    assert report["reproduced_exactly"] is True
    assert report["simulated"] is True
    assert report["in_force"]["activations"] >= 2


def test_against_the_truth_of_the_scenario(tmp_path):
    """What the scenario says that happened: found in force, and said to be late with a longer delay."""
    store = tmp_path / "apart.db"
    play("circuit-apart", store, 0.55)
    told = CliRunner().invoke(scenarios, ["circuit-apart", "--truth"], catch_exceptions=False).output
    assert {one["condition"] for one in json.loads(told)} == {"disconnected"}
    truth = tmp_path / "truth.json"
    truth.write_text(told)
    same, longer = (
        json.loads(run(store, "--truth", truth, "--json", *words).output)
        for words in ((), ("--set", "pressure.disconnect_delay=18"))
    )
    assert same["true_events"] == longer["true_events"] == 1
    assert same["missed"] == same["late"] == longer["missed"] == []
    assert [one["condition"] for one in longer["late"]] == ["disconnected"]
    # Another beginning, and nothing of it lies in the store.
    moved = CliRunner().invoke(scenarios, ["circuit-apart", "--truth", "--start", "0"]).output
    truth.write_text(moved)
    assert json.loads(run(store, "--truth", truth, "--json").output)["true_events"] == 0


def test_for_a_person(store):
    said = run(store, "--set", "oxygen.delay=20 s").output
    assert said.startswith("SIMULATED")
    assert "oxygen.delay = 20.0 s" in said
    assert "come out again exactly" in said


def test_a_sweep(store):
    done = run(store, "--sweep", "oxygen.delay=0:60:4", "--json")
    report = json.loads(done.output)
    assert [one["tried"] for one in report["sweep"]] == [f"oxygen.delay = {s}.0 s" for s in (0, 20, 40, 60)]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--set", "oxygen.dealy=3"], "did you mean oxygen.delay"),
        (["--set", "oxygen.delay=90"], "must lie between"),
        (["--module", "zz"], "hexadecimal"),
        (["--module", "1"], "holds no module 00000001"),
        (["--sweep", "oxygen.delay=1"], "NAME=FROM:TO:STEPS"),
    ],
)
def test_mistakes_are_said(store, words, said):
    with pytest.raises(UserError, match=said):
        run(store, *words)


@pytest.mark.parametrize(
    ("text", "said"),
    [("{", "is not JSON"), ("{}", "is no list"), ("[1]", "event 1"), ('[{"start_ms": 1}]', "whole numbers"),
     ('[{"start_ms": 2, "end_ms": 1}]', "lies before"),
     ('[{"start_ms": 1, "end_ms": 2, "condition": "apart"}]', "No alarm row")],
)  # fmt: skip
def test_a_bad_truth_is_said(store, tmp_path, text, said):
    truth = tmp_path / "truth.json"
    truth.write_text(text)
    with pytest.raises(UserError, match=said):
        run(store, "--truth", truth)


def test_empty_and_missing_stores_are_said(tmp_path):
    with pytest.raises(UserError, match="doesn't exist"):
        run(tmp_path / "none.db")
    Writer(tmp_path / "empty.db", 0).close()
    with pytest.raises(UserError, match="holds no module"):
        run(tmp_path / "empty.db")
