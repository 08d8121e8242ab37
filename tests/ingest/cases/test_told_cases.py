"""The people of an invented night start and end cases; its store holds them as if they had."""

import json

from click.testing import CliRunner

from ingest.cli.case import case
from ingest.told_cases import write_told_cases
from tests.support.night_store import write_night

START = 1_772_308_800_000
MINUTE = 60_000


def test_cases_are_written_down_and_what_was_not_played_is_not(tmp_path):
    store = write_night(tmp_path / "night.db", START, 0.2)
    told = [
        (START + 8 * MINUTE, "start_case", "child"), (START + MINUTE, "start_case", "adult"),
        (START + 5 * MINUTE, "end_case", ""), (START + 90 * MINUTE, "end_case", ""),
    ]  # fmt: skip
    assert write_told_cases(store, told, START) == 2
    words = ["list", "--store", str(store), "--json"]
    found = json.loads(CliRunner().invoke(case, words, catch_exceptions=False).output)["cases"]
    assert [(one["number"], one["start_ms"] - START, one["state"]) for one in found] == [
        (1, MINUTE, "ended"), (2, 8 * MINUTE, "open")]  # fmt: skip
    assert found[0]["end_ms"] == START + 5 * MINUTE and found[1]["end_ms"] is None
    assert {one["preset"] for one in found} == {"adult"}
