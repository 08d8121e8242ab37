"""The unit file: understood by systemd where it is present, hardened, and its command line is one we have."""

import configparser
import shutil
import subprocess
from pathlib import Path

import pytest

from ingest.cli.ingest import ingest

DEPLOY = Path(__file__).parents[3] / "ingest" / "deploy"
UNIT = DEPLOY / "nightkeel-ingest.service"


def parsed():
    unit = configparser.RawConfigParser(strict=False)
    unit.optionxform = str
    unit.read(UNIT)
    return unit


def test_the_command_line_of_the_unit_is_understood():
    words = parsed()["Service"]["ExecStart"].split()
    assert words[1] == "ingest"
    context = ingest.make_context("ingest", words[2:])
    assert context.params["wait"]
    assert context.params["links"] == ("/dev/nightkeel",)


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("NoNewPrivileges", "yes"),
        ("ProtectSystem", "strict"),
        ("CapabilityBoundingSet", ""),
        ("UMask", "0077"),
        ("DevicePolicy", "closed"),
        ("Restart", "always"),
    ],
)
def test_the_unit_is_hardened(option, value):
    assert parsed()["Service"][option] == value


def test_systemd_understands_the_unit(tmp_path):
    program = shutil.which("systemd-analyze")
    if program is None:
        pytest.skip("systemd-analyze is not on this machine; the unit was only parsed")
    # The program it starts need not be installed where the tests run.
    copy = tmp_path / UNIT.name
    copy.write_text(
        UNIT.read_text()
        .replace("/usr/local/bin/nightkeel", "/bin/true")
        .replace("User=nightkeel\n", "")
        .replace("Group=nightkeel\n", "")
    )
    result = subprocess.run(
        [program, "verify", "--man=no", str(copy)], capture_output=True, text=True, timeout=30
    )
    assert result.returncode == 0, result.stderr
    assert "Unknown" not in result.stderr


def test_the_rule_gives_the_name_that_the_unit_opens():
    rule = (DEPLOY / "99-nightkeel.rules").read_text()
    assert 'SYMLINK+="nightkeel"' in rule
    assert 'MODE="0660"' in rule
