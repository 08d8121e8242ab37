"""What to check first: every alarm row and state has causes in both languages, today's evidence beside."""

import pytest
from click.testing import CliRunner

from dashboard.first_look import PACKAGE_FILE, load, site_file
from firmware_sim.contract import alarms
from firmware_sim.contract.channels import SUPPLY_STATES
from ingest.analysis.evidence import EVIDENCE
from ingest.analysis.first_checks import LANGUAGES
from ingest.errors import UserError
from nightkeel import LazyGroup
from tests.support.night_store import Night

START = 1_772_308_800_000
MINUTES = (396, 403)  # of the invented night: in bypass from minute 400 on


@pytest.fixture
def store(tmp_path):
    night = Night(tmp_path / "night.db", START)
    night.settings()
    night.alarm("bypass", 4.2, "raised", 3, None)
    night.seconds(0, 60 * (MINUTES[1] - MINUTES[0]), story=MINUTES[0])
    night.close()
    return tmp_path / "night.db"


def run(*words):
    return CliRunner().invoke(LazyGroup(), [str(word) for word in words])


def test_every_row_and_state_has_a_tree(tmp_path):
    book = load(tmp_path / "night.db")
    places = [row.name for row in alarms.ROWS] + [f"state.{name}" for name in SUPPLY_STATES]
    assert sorted(book.trees) == sorted(places)
    for place, causes in book.trees.items():
        assert 2 <= len(causes) <= 6, place
    for name, cause in book.causes.items():
        assert set(cause.text) == set(LANGUAGES), name
        assert cause.evidence or name == "watch", name
    used = {one for cause in book.causes.values() for one in cause.evidence}
    assert used == set(EVIDENCE)
    reached = {one for causes in book.trees.values() for one in causes}
    assert reached | {one for cause in book.causes.values() for one in cause.then} == set(book.causes)


def test_todays_evidence_stands_beside_each_cause(store):
    said = run("check", "first", "--store", store).output
    assert "press 'normal'" in said
    # From 20:00 on the bed was in normal mode for 4 min, then in bypass: its first second began at 20:03:59.
    assert "in bypass since 20:03" in said
    assert "before that 4 min normal mode, from 20:00" in said
    assert "no dip, swell or cut of the mains today" in run(
        "check", "first", "stored_energy", "--store", store
    ).output
    french = run("check", "first", "purity_low", "--store", store, "--lang", "fr").output
    assert "Tamis humide ou usé" in french
    assert "pureté 93" in french
    assert "Filtre : rien au journal" in french
    run("upkeep", "add", "filter", "cleaned", "--day", "2026-02-20", "--store", store, "--operator", "AB")
    assert "Filter cleaned 8 d ago" in run("check", "first", "purity_low", "--store", store).output


def test_a_site_changes_causes_and_trees(store):
    site_file(store).write_text(
        'format = "nightkeel first checks 1"\n[causes.inlet]\nen = "The door is shut on the inlet"\n'
        'evidence = ["oxygen"]\n[trees]\npurity_low = ["inlet", "sieve"]\n'
    )
    said = run("check", "first", "purity_low", "--store", store, "--lang", "fr").output
    assert said.splitlines()[1] == "- The door is shut on the inlet"
    assert "Plus de débit" not in said
    assert "Vanne" not in said
    assert "press 'normal'" in run("check", "first", "bypass", "--store", store).output


BAD = {
    "format = 'x'": "no file of first checks",
    "format = 'nightkeel first checks 1'\ncolour = 1": "'colour', which is not known",
    "format = 'nightkeel first checks 1'\n[causes.a]\nen = 'A'\nde = 'B'": "'de', which is not known",
    "format = 'nightkeel first checks 1'\n[causes.a]\nen = 'A'\nevidence = ['moon']": "'moon', which is not",
    "format = 'nightkeel first checks 1'\n[trees]\npurty_low = []": "'purty_low', which is not known",
    "format = 'nightkeel first checks 1'\n[trees]\npurity_low = ['moon']": "'moon', which is not known",
    "format = 'nightkeel first checks 1'\n[causes.a]\nen = 'A'\nthen = ['a']\n[trees]\nbypass = ['a']":
        "leads on for more than 3 levels",
    "format = ": "is not TOML",
}  # fmt: skip


@pytest.mark.parametrize("text", BAD)
def test_a_faulty_site_file_is_named_and_changes_nothing(tmp_path, text):
    site_file(tmp_path / "night.db").write_text(text)
    with pytest.raises(UserError, match=BAD[text]) as refused:
        load(tmp_path / "night.db")
    assert str(refused.value).startswith("first-checks.toml")
    assert PACKAGE_FILE.exists()
