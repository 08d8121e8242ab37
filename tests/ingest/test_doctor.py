"""The doctor: each fault is planted, and the sentence must name it and its cure."""

import json
import os
import socket
import sqlite3

import pytest
from click.testing import CliRunner

from ingest import doctor
from ingest.cli.doctor import doctor as command
from ingest.store.connect import open_writable
from ingest.store.migrations import MIGRATIONS, migrate


def test_an_old_python_is_named():
    assert doctor.check_python((3, 10)).level == "mend"
    assert doctor.check_python((3, 11)).level == "ok"


def test_pins_are_read_and_compared(tmp_path):
    (tmp_path / "constraints.txt").write_text("Click==0.0.1\nnumpy==999\n# a remark\n")
    assert doctor.pins(tmp_path / "constraints.txt") == {"click": "0.0.1", "numpy": "999"}
    (finding,) = doctor.check_packages(tmp_path / "constraints.txt")
    assert finding.level == "note"
    assert "instead of 0.0.1" in finding.said
    assert "instead of 999" in finding.said


def test_the_needed_packages_are_those_of_the_project():
    names = doctor.required_packages()
    assert {"click", "dash", "numba", "pyserial"} <= set(names)
    assert "pytest" not in names


def test_a_missing_package_is_named(monkeypatch, tmp_path):
    monkeypatch.setattr(doctor, "required_packages", lambda: ["click", "not-there-at-all"])
    (finding,) = doctor.check_packages(tmp_path / "none.txt")
    assert finding.level == "mend"
    assert "not-there-at-all" in finding.said
    assert "pip install" in finding.said


def test_not_installed_is_named(monkeypatch, tmp_path):
    monkeypatch.setattr(doctor, "required_packages", list)
    (finding,) = doctor.check_packages(tmp_path / "none.txt")
    assert finding.level == "mend"


def test_missing_programs_are_notes(monkeypatch):
    monkeypatch.setattr(doctor.shutil, "which", lambda *_, **__: None)
    monkeypatch.setattr(doctor, "find_library", lambda _: None)
    for finding in (doctor.check_micropython(), doctor.check_test_tools(), doctor.check_printing()):
        assert finding.level == "note"
    assert "valgrind" in doctor.check_test_tools().said
    assert "libpango" in doctor.check_printing().said


def test_a_taken_port_is_named():
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        assert doctor.check_web_port("127.0.0.1", port).level == "mend"
        assert doctor.check_link(f"socket://127.0.0.1:{port}").level == "ok"
    assert doctor.check_web_port("127.0.0.1", port).level == "ok"
    assert doctor.check_link(f"socket://127.0.0.1:{port}").level == "mend"
    assert "no port" in doctor.check_link("socket://127.0.0.1").said


def test_serial_devices(tmp_path):
    assert "does not exist" in doctor.check_link(str(tmp_path / "ttyACM0")).said
    (tmp_path / "file").touch()
    assert "not a serial device" in doctor.check_link(str(tmp_path / "file")).said
    near, far = os.openpty()
    try:
        assert doctor.check_link(os.ttyname(far)).level == "ok"
    finally:
        os.close(near)
        os.close(far)


def test_a_forbidden_device_is_named(monkeypatch):
    monkeypatch.setattr(doctor.os, "access", lambda *_: False)
    assert "dialout" in doctor.check_link("/dev/null").said


def store(path):
    """Make an empty store of the newest version."""
    connection = open_writable(path)
    migrate(connection, 1_700_000_000_000)
    connection.close()
    return path


def said_about(path):
    """Return the level and the sentence about one store."""
    finding = next(doctor.check_store(path))
    return finding.level, finding.said


def test_a_whole_store_is_ok(tmp_path):
    level, said = said_about(store(tmp_path / "night.db"))
    assert level == "ok"
    assert f"version {len(MIGRATIONS)}" in said


def test_looking_changes_nothing(tmp_path):
    path = store(tmp_path / "night.db")
    before = path.read_bytes()
    said_about(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize("name", ["missing.db", "folder"])
def test_a_store_that_is_not_there(tmp_path, name):
    (tmp_path / "folder").mkdir()
    level, said = said_about(tmp_path / name)
    assert level == "mend"
    assert name in said


def test_another_kind_of_file(tmp_path):
    (tmp_path / "text.db").write_text("not a database, but long enough to have a header " * 20)
    assert said_about(tmp_path / "text.db")[0] == "mend"
    connection = sqlite3.connect(tmp_path / "other.db")
    connection.execute("CREATE TABLE recipe (name TEXT)")
    connection.close()
    level, said = said_about(tmp_path / "other.db")
    assert level == "mend"
    assert "another program" in said


def test_a_store_of_a_newer_program(tmp_path):
    connection = sqlite3.connect(store(tmp_path / "night.db"))
    connection.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    connection.close()
    level, said = said_about(tmp_path / "night.db")
    assert level == "mend"
    assert "newer version" in said


def test_a_damaged_store_is_found(tmp_path):
    path = store(tmp_path / "night.db")
    data = bytearray(path.read_bytes())
    data[4096 * 3 : 4096 * 4] = b"\x5a" * 4096
    path.write_bytes(data)
    level, said = said_about(path)
    assert level == "mend"
    assert "backup" in said


def test_a_full_disk_is_named(tmp_path, monkeypatch):
    usage = doctor.shutil.disk_usage(tmp_path)._replace(free=10_000_000)
    monkeypatch.setattr(doctor.shutil, "disk_usage", lambda _: usage)
    _, finding = doctor.check_store(store(tmp_path / "night.db"))
    assert "10 MB" in finding.said


def test_the_command_prints_cures_and_exits_1(tmp_path):
    shown = CliRunner().invoke(command, ["--store", str(tmp_path / "none.db"), "--port", "65000"])
    assert shown.exit_code == 1
    assert "mend" in shown.output
    assert "none.db doesn't exist" in shown.output
    as_json = CliRunner().invoke(command, ["--json", "--port", "65000"])
    assert {row["subject"] for row in json.loads(as_json.output)["findings"]} >= {"Python", "packages"}
