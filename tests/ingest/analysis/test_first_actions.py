"""A site's first actions: every fault has a sentence, and nothing is shipped."""

import pytest
from click.testing import CliRunner

from firmware_sim.contract.alarms import ROWS
from ingest.analysis.first_actions import EXAMPLE, first_actions
from ingest.cli.site import site
from ingest.errors import UserError

GOOD = """\
format = "nightkeel site 1"
approved_by = "invented ward board"
approved_on = 2026-01-31
[first_actions.disconnected]
en = ["Invented: look at the tube."]
[first_actions.no_breath]
fr = ["Inventé : regarder."]
"""


def test_a_site_file_is_read_and_a_missing_language_is_shown_in_the_other():
    found = first_actions(GOOD, "ward.toml")
    assert (found.approved_by, found.approved_on.isoformat()) == ("invented ward board", "2026-01-31")
    assert found.lines("disconnected", "fr") == ("Invented: look at the tube.",)
    assert found.lines("no_breath", "fr") == ("Inventé : regarder.",)
    assert found.lines("pressure_high", "en") == ()


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("first_actions.disconnected", "first_actions.disconected", "did you mean disconnected"),
        ("approved_by", "aproved_by", "ward.toml: aproved_by is not known; did you mean approved_by"),
        ("en =", "de =", "first_actions.disconnected: de is not known"),
        ('"nightkeel site 1"', '"nightkeel settings 1"', "no site file; it must say format"),
        ('"invented ward board"', '" "', "approved_by must name who approved it"),
        ("2026-01-31", '"soon"', "approved_on must be the day"),
        ('["Invented: look at the tube."]', "[]", "one to 5 lines of at most 120 letters"),
        ('["Invented: look at the tube."]', '"one text"', "one to 5 lines"),
        ('["Invented: look at the tube."]', f'["{"x" * 121}"]', "at most 120 letters"),
        ("format", "format = ", "is not TOML"),
    ],
)
def test_a_fault_gets_one_clear_sentence(old, new, sentence):
    assert old in GOOD
    with pytest.raises(UserError, match=sentence):
        first_actions(GOOD.replace(old, new, 1), "ward.toml")


def test_the_shipped_example_advises_nothing_and_is_not_taken_as_approved(tmp_path):
    lines = [one for one in EXAMPLE.splitlines() if one and not one.startswith("#")]
    assert lines == ['format = "nightkeel site 1"', 'approved_by = ""', "approved_on = 2000-01-01"]
    assert not any(row.name in EXAMPLE for row in ROWS)
    with pytest.raises(UserError, match="approved_by"):
        first_actions(EXAMPLE, "ward.toml")
    run = CliRunner()
    path = tmp_path / "ward.toml"
    assert run.invoke(site, ["example", str(path)], catch_exceptions=False).exit_code == 0
    with pytest.raises(UserError, match="is there already"):
        run.invoke(site, ["example", str(path)], catch_exceptions=False)
    path.write_text(GOOD, "utf-8")
    said = run.invoke(site, ["check", str(path)], catch_exceptions=False).output
    assert said.endswith("2 alarms; approved by invented ward board, 2026-01-31.\n")
    path.write_bytes(b"\xff")
    with pytest.raises(UserError, match="not text in UTF-8"):
        run.invoke(site, ["check", str(path)], catch_exceptions=False)
