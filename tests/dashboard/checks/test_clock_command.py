"""`nightkeel clock`: what a person typed as a time, and what can't be one."""

import pytest
from click.testing import CliRunner

from dashboard.setup_doing import time_of
from dashboard.texts import Words
from dashboard.view import View, zone_of
from nightkeel import LazyGroup
from tests.support.night_store import write_night

START = 1_772_308_800_000


def view(zone):
    return View(words=Words("en"), zone=zone_of(zone), theme="paper", width=1200, now=START)


@pytest.mark.parametrize(
    ("text", "zone", "utc_s"),
    [
        ("2026-02-28 20:00", "UTC", 1_772_308_800),
        (" 2026-02-28T23:00:30 ", "Africa/Nairobi", 1_772_308_830),  # UTC+3 all year (tz database)
        ("1970-01-01 00:00", "UTC", 0),
        ("2026-02-29 20:00", "UTC", None),
        ("2026-02-28 24:00", "UTC", None),
        ("28.02.2026 20:00", "UTC", None),
        ("1969-12-31 23:59", "UTC", None),
        ("2199-01-01 00:00", "UTC", None),  # beyond the wire's 32 bits
        ("", "UTC", None),
    ],
)
def test_a_time_as_typed(text, zone, utc_s):
    found = time_of(text, view(zone))
    assert found == (None if utc_s is None else utc_s * 1000)


def test_the_command_says_what_is_missing(tmp_path):
    store = write_night(tmp_path / "night.db", START, 0.02)

    def run(*words):
        return CliRunner().invoke(LazyGroup(), ["clock", "--store", str(store), *words])

    assert "No word of its clock" in run().output
    assert "Horloge" not in run("--lang", "fr").output
    assert "needs who" in str(run("--set", "here").exception)
    assert "That is no date and time" in str(run("--set", "soon", "--operator", "AB").exception)
    assert "No daemon answers" in str(run("--set", "here", "--operator", "AB").exception)
