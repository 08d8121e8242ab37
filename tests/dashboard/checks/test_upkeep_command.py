"""`nightkeel upkeep`: entries are stored, what is due is said in both languages, wear has its interval."""

import json
import time

import pytest
from click.testing import CliRunner

from nightkeel import LazyGroup
from tests.support.night_store import Night

DAY = 86_400_000


@pytest.fixture
def store(tmp_path):
    """Eight days, ten minutes recorded in each; purity falls by a tenth of a per cent a day."""
    path = tmp_path / "night.db"
    now = time.time_ns() // 1_000_000
    for day in range(8):
        night = Night(path, now - (8 - day) * DAY, boot_id=day + 1)
        if day == 0:
            night.settings()
        night.seconds(0, 120, story=130)
        night.close()
    return path


def run(*words):
    return CliRunner().invoke(LazyGroup(), [str(word) for word in words])


def test_the_log_is_kept_and_what_is_due_is_said(store):
    assert "Filter: never entered" in run("upkeep", "due", "--store", store).output
    added = run("upkeep", "add", "filter", "cleaned", "--store", store, "--operator", "AB", "--text", "dusty")
    assert added.exit_code == 0, added.exception
    run("upkeep", "add", "concentrator", "hours_read", "--hours", 4120, "--store", store, "--operator", "AB")
    refused = run("upkeep", "add", "concentrator", "hours_read", "--hours", "4000", "--store", store,
                  "--operator", "AB")  # fmt: skip
    assert "can't go back from 4120 to 4000 h" in str(refused.exception)
    said = run("upkeep", "due", "--store", store).output
    assert "Filter: due on" in said
    assert "Concentrator's counter: 4120 to 4121 h now." in said
    assert "Sieve: purity 93." in said
    parts = json.loads(run("upkeep", "due", "--store", store, "--json").output)["parts"]
    assert parts["filter"]["state"] == "soon"
    assert parts["filter"]["due_ms"] - parts["filter"]["last_ms"] == 7 * DAY
    assert parts["cell"]["state"] == "never"
    listed = run("upkeep", "list", "--store", store, "--lang", "fr").output.splitlines()
    assert "Concentrateur heures lues, 4120 h" in listed[0]
    assert "AB  Filtre nettoyé: dusty" in listed[1]


def test_a_day_that_cannot_be(store):
    for day, why in (("2026-02-30", "write it as YYYY-MM-DD"), ("2999-01-01", "lies in the future")):
        refused = run("upkeep", "add", "cell", "changed", "--day", day, "--store", store, "--operator", "AB")
        assert why in str(refused.exception)
    assert run("upkeep", "list", "--store", store).output == ""
