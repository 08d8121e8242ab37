"""`nightkeel case` against the real firmware, pipeline and store, in virtual time."""

import json
import time

import pytest
from click.testing import CliRunner

from firmware_sim.contract import settings as s
from ingest.cli import case as cli
from ingest.errors import UserError
from ingest.store.backup import backup as copy
from ingest.store.reader import open_reader
from tests.support.bed import scenario
from tests.support.live_bed import LiveBed

START = ("--mode", "ventilator", "--preset", "adult", "--operator", "A. B.")
OPERATOR = ("--operator", "A. B.")


@pytest.fixture(scope="module")
def whole_bed(tmp_path_factory):
    made = LiveBed(scenario(), tmp_path_factory.mktemp("case") / "night.db")
    made.play(15)
    yield made
    made.close()


@pytest.fixture
def bed(whole_bed, bed_client, monkeypatch):
    bed_client.bed = whole_bed
    monkeypatch.setattr(cli, "_now", lambda: whole_bed.now)
    yield whole_bed
    whole_bed.clear()


def run(bed, command, *words, store=None):
    line = [command, "--store", str(store or bed.path), *map(str, words)]
    return CliRunner().invoke(cli.case, line, catch_exceptions=False).output


def in_force(bed):
    bed.play(2)
    with open_reader(bed.path) as reader:
        return reader.settings_history(bed.module)[-1].values


def marks(bed, kind="case"):
    with open_reader(bed.path) as reader:
        return reader.marks(bed.module, kind=kind)


def test_a_case_from_start_to_end(bed):
    assert run(bed, "list") == "No case was started yet.\n"
    said = run(bed, "start", "--mode", "hand", "--preset", "child", "--label", "cot 3", *OPERATOR)
    assert said == "Case 1 began: hand, child. Limits are the preset's: look at them and confirm.\n"
    values = in_force(bed)
    assert [values[s.ID_OF[f"module.{name}"]] for name in ("mode", "preset", "unconfirmed")] == [2, 1, 1]
    (mark,) = marks(bed)
    assert (mark.text, mark.author, mark.utc_end) == ("cot 3", "A. B.", None)
    assert mark.data == {"number": 1, "mode": "hand", "preset": "child", "state": "open", "by": "A. B.",
                         "renamed": False}  # fmt: skip
    with open_reader(bed.path) as reader:
        booked = reader.host_commands(bed.module)[-1]
    assert (booked.operator, booked.reason, booked.result, booked.from_page) == ("A. B.", "case 1", 0, False)

    bed.play(30)
    assert run(bed, "end", *OPERATOR) == "Case 1 has ended. Standby.\n"
    assert in_force(bed)[s.ID_OF["module.mode"]] == 0
    (mark,) = marks(bed)
    assert mark.data["state"] == "ended"
    assert 25_000 < mark.utc_end - mark.utc < 60_000

    run(bed, "start", *START)
    listed = json.loads(run(bed, "list", "--json"))["cases"]
    assert [(one["number"], one["state"], one["preset"]) for one in listed] == [
        (1, "ended", "child"), (2, "open", "adult")]  # fmt: skip
    assert "cot 3" not in json.dumps(listed)
    assert run(bed, "show").startswith("case 2: ")
    assert "called cot 3" in run(bed, "show", "--case", "1")


def test_what_cannot_be_started_or_ended_leaves_everything_as_it_was(bed):
    before = in_force(bed)
    with pytest.raises(UserError, match=r"No site has supplied infant values .* nobody guesses them"):
        run(bed, "start", "--mode", "ventilator", "--preset", "infant", *OPERATOR)
    with pytest.raises(UserError, match="Mode 'bellows' is not known; use one of standby, ventilator"):
        run(bed, "start", "--mode", "bellows", "--preset", "adult", *OPERATOR)
    with pytest.raises(UserError, match="Preset 'giant' is not known; use one of adult, child, infant"):
        run(bed, "start", "--mode", "hand", "--preset", "giant", *OPERATOR)
    with pytest.raises(UserError, match="--operator must not be empty"):
        run(bed, "start", "--mode", "hand", "--preset", "adult", "--operator", " ")
    with pytest.raises(UserError, match="No case of this module is open"):
        run(bed, "end", *OPERATOR)
    assert in_force(bed) == before
    assert marks(bed) == []

    run(bed, "start", *START)
    began = marks(bed)
    with pytest.raises(UserError, match=r"Case 1 of this module is still open since 20\d\d-.* UTC; end it"):
        run(bed, "start", *START)
    with pytest.raises(UserError, match="only after its start"):
        run(bed, "end", "--at", "2020-01-01T00:00", *OPERATOR)
    with pytest.raises(UserError, match="write HH:MM or YYYY-MM-DDTHH:MM"):
        run(bed, "end", "--at", "25h", *OPERATOR)
    assert marks(bed) == began, "nothing is lost"


def test_a_page_and_a_command_cannot_start_two_cases_at_once(bed, bed_client):
    """The daemon looks before it writes, whatever the asker saw."""
    client = bed_client(bed.path)
    client.start_case(bed.module, mode="hand", preset="adult", label="", operator="AB")
    with pytest.raises(UserError, match="Case 1 of this module is still open"):
        client.start_case(bed.module, mode="hand", preset="adult", label="", operator="CD")
    assert len(marks(bed)) == 1


def test_a_start_that_the_module_refuses_leaves_no_case(bed, bed_client):
    client = bed_client(bed.path)
    asked = {"mode": "hand", "preset": "adult", "label": "", "operator": "AB"}
    number, found = client.start_case(bed.module, from_page=True, **asked)
    assert (number, found["result"]) == (1, 6), "button_first: nobody has pressed the module's button"
    assert marks(bed) == []
    number, found = client.start_case(bed.module, **asked)
    assert (number, found["result"]) == (1, 0), "a number that was never used is used"
    _, found = client.end_case(bed.module, operator="AB", from_page=True)
    assert found["result"] == 6
    assert marks(bed)[0].utc_end is None, "a refused end ends nothing"


def test_an_unanswered_start_stands_as_not_confirmed(bed, bed_client, monkeypatch):
    monkeypatch.setattr(bed_client, "answered", lambda self, row: None)
    with pytest.raises(UserError, match="has not answered; case 1 stands as not confirmed"):
        run(bed, "start", *START)
    assert "not confirmed by the module" in run(bed, "list")
    monkeypatch.setattr(cli, "_now", lambda: bed.now + 14 * 60_000)
    assert "Is it still going on?" not in run(bed, "list")
    monkeypatch.setattr(cli, "_now", lambda: bed.now + 16 * 60_000)
    assert "The module never confirmed its start." in run(bed, "list")


def test_a_module_that_went_away_does_not_keep_a_case_open(bed, bed_client, tmp_path):
    run(bed, "start", *START)
    bed.play(40)
    assert bed.now > marks(bed)[0].utc + 35_000
    at = time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime((bed.now - 10_000) / 1000))
    left = tmp_path / "left.db"
    copy(bed.path, left)
    bed_client.bed = None
    with pytest.raises(UserError, match="No daemon answers"):
        run(bed, "end", *OPERATOR, store=left)
    said = run(bed, "end", "--record-only", "--at", at, *OPERATOR, store=left)
    assert said == "Case 1 has ended. Only in the record.\n"
    with open_reader(left) as reader:
        (mark,) = reader.marks(bed.module, kind="case")
    assert abs(mark.utc_end - (bed.now - 10_000)) < 1500


def test_the_limits_of_previous_use_wait_for_a_person_and_the_case_goes_on(bed):
    """After 30 s without power limits come back and are asked about (from memory, IEC 60601-1-8, 6.5)."""
    run(bed, "start", *START)
    assert bed.tell("confirm_limits", (0,)) == "done"
    assert in_force(bed)[s.ID_OF["module.unconfirmed"]] == 0
    bed.happen("board", "power_cut", duration_s=33.0).play(60)
    after = in_force(bed)
    assert after[s.ID_OF["module.unconfirmed"]] == 1
    assert after[s.ID_OF["module.mode"]] == 1, "it comes back armed"
    assert run(bed, "show").startswith("case 1: ")
    assert marks(bed)[0].utc_end is None, "a power loss ends no case"


def test_odd_stores_and_modules_get_a_sentence(bed, tmp_path):
    with pytest.raises(UserError, match="this store holds"):
        run(bed, "list", "--module", "zz")
    with pytest.raises(UserError, match="no time zone 'Nowhere/City'"):
        run(bed, "list", "--zone", "Nowhere/City")
    run(bed, "start", *START)
    with pytest.raises(UserError, match=r"no case 4 of this module; there are 1"):
        run(bed, "show", "--case", "4")


@pytest.mark.parametrize("running", [True, False])
def test_a_mistyped_label_is_corrected_and_the_old_one_is_kept(bed, bed_client, tmp_path, running):
    run(bed, "start", *START, "--label", "cot 3")
    store = bed.path
    if not running:
        store = tmp_path / "left.db"
        copy(bed.path, store)
        bed_client.bed = None
    said = run(bed, "label", "--case", "1", "--label", " cot 4 ", "--operator", "C. D.", store=store)
    assert said == "Case 1 is called cot 4 now.\n"
    mark = last_mark(bed, store)
    assert (mark.text, mark.author, mark.version) == ("cot 4", "C. D.", 3)
    with open_reader(store) as reader:
        assert [one.text for one in reader.mark_history(mark.mark)] == ["cot 3", "cot 3", "cot 4"]
    shown = run(bed, "show", store=store)
    assert "by A. B., called cot 4" in shown, "who started it is not who corrected it"
    assert "before: cot 3, until 20" in shown and "changed by C. D." in shown
    assert "cot" not in run(bed, "list", "--json", store=store)
    # It is still the same open case, and nothing else of it changed.
    assert (mark.data["state"], mark.utc_end) == ("open", None)
    said = run(bed, "label", "--case", "1", "--label", "", *OPERATOR, store=store)
    assert said == "Case 1 has no label now.\n"
    assert "before: cot 4" in run(bed, "show", store=store)
    for words, sentence in (
        (("--case", "1", "--label", ""), "Case 1 is called that already"),
        (("--case", "9", "--label", "x"), "There is no case 9 of this module; there are 1."),
        (("--case", "1", "--label", "x" * 81), "The label has 81 letters; 80 are allowed."),
        (("--case", "1", "--label", "x", "--operator", " "), "--operator must not be empty"),
    ):
        with pytest.raises(UserError, match=sentence):
            run(bed, "label", *OPERATOR, *words, store=store)
    assert last_mark(bed, store).version == 4, "what is refused writes nothing"


def last_mark(bed, store):
    with open_reader(store) as reader:
        return reader.marks(bed.module, kind="case")[-1]


def test_the_end_keeps_who_started_it_and_the_corrected_label(bed):
    run(bed, "start", *START, "--label", "cot 3")
    run(bed, "label", "--case", "1", "--label", "cot 4", "--operator", "C. D.")
    bed.play(20)
    run(bed, "end", "--operator", "E. F.")
    shown = run(bed, "show")
    assert "by A. B., called cot 4" in shown and "before: cot 3" in shown
