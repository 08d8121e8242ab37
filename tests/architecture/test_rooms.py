"""Who may import whom, held by import-linter, and proof that a planted break is seen."""

import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]
ROOMS = ("firmware_sim", "ingest", "dashboard")

# A break a rule: file, the line that breaks it, and the name of the contract that must say so.
PLANTED = [
    ("firmware_sim/core/planted.py", "import firmware_sim.world", "Far side: rig"),
    ("firmware_sim/world/planted.py", "import firmware_sim.core", "Far side: rig"),
    ("firmware_sim/contract/planted.py", "import firmware_sim.core", "Far side: rig"),
    ("firmware_sim/board/planted.py", "import ingest.pipeline", "The far side knows nothing"),
    ("ingest/planted.py", "import firmware_sim.core", "Ingest takes the contract"),
    ("ingest/planted.py", "import dashboard", "Ingest takes the contract"),
    ("dashboard/pages/planted.py", "import ingest.pipeline", "The dashboard reads"),
    ("dashboard/pages/planted.py", "import firmware_sim.contract", "The dashboard reads"),
    ("ingest/analysis/planted.py", "import sqlite3", "Pure rooms"),
    ("ingest/link/decoder.py", "import time", "Pure rooms"),
    ("dashboard/figures/planted.py", "import dash", "Pure rooms"),
    ("firmware_sim/core/planted.py", "import datetime", "Firmware and physics"),
    ("ingest/planted.py", "import serial", "Only the port"),
    ("dashboard/planted.py", "import sqlite3", "Only the store"),
]


def lint(folder):
    """Run import-linter over a checkout; return its exit status and what it printed on one line."""
    code = "import sys; sys.path.insert(0, ''); import importlinter.cli as cli; cli.lint_imports_command()"
    command = [sys.executable, "-P", "-c", code, "--no-cache"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    return done.returncode, " ".join((done.stdout + done.stderr).split())


@pytest.fixture
def copy(tmp_path):
    """Copy the packages and the contracts to a place where they may be broken."""
    for room in ROOMS:
        shutil.copytree(TOP / room, tmp_path / room, ignore=shutil.ignore_patterns("__pycache__", "assets"))
    shutil.copy(TOP / "pyproject.toml", tmp_path)
    return tmp_path


def test_the_contracts_hold():
    status, said = lint(TOP)
    assert status == 0, said
    assert " 0 broken" in said


def test_every_contract_has_a_planted_break():
    project = tomllib.loads((TOP / "pyproject.toml").read_text("utf-8"))
    for contract in project["tool"]["importlinter"]["contracts"]:
        assert any(contract["name"].startswith(start) for _, _, start in PLANTED), contract["name"]


def test_planted_breaks_are_seen(copy):
    for name, line, contract in PLANTED:
        path = copy / name
        before = path.read_text("utf-8") if path.exists() else None
        path.write_text((before or "") + f"\n{line}\n", encoding="utf-8")
        status, said = lint(copy)
        assert status == 1, (name, line, said)
        broken = said.split("Broken contracts")[-1]
        assert contract in broken, (name, line, said)
        if before is None:
            path.unlink()
        else:
            path.write_text(before, encoding="utf-8")
