"""Data out without a network: the copy is proven, room is asked for first, and what fails leaves nothing."""

import hashlib
import os
import shutil
import subprocess
from collections import namedtuple

import pytest
from click.testing import CliRunner

from ingest.errors import UserError
from ingest.store.reader import open_reader
from ingest.store.verify import verify
from nightkeel import LazyGroup
from tests.support.night_store import Night, write_night

START = 1_772_308_800_000


@pytest.fixture
def store(tmp_path):
    return write_night(tmp_path / "night.db", START, 0.05)


def run(*words):
    return CliRunner().invoke(LazyGroup(), [str(word) for word in words])


def test_a_copy_is_whole_and_any_machine_can_check_it(store, tmp_path):
    other = tmp_path / "handover.pdf"
    other.write_bytes(b"%PDF " + os.urandom(3_000_000))
    done = run("carry", "out", "--store", store, tmp_path / "stick", other)
    assert done.exit_code == 0, done.exception
    assert "it may be pulled" in done.output
    # sha256sum of coreutils is the independent reader.
    subprocess.run(["sha256sum", "--check", "--strict", "SHA256SUMS"], cwd=tmp_path / "stick", check=True,
                   capture_output=True)  # fmt: skip
    assert hashlib.sha256(other.read_bytes()).hexdigest() in done.output
    assert verify(tmp_path / "stick" / "night.db").problems == ()
    with open_reader(store) as mine, open_reader(tmp_path / "stick" / "night.db") as theirs:
        assert mine.span() == theirs.span()
    assert "2 files" in run("carry", "check", tmp_path / "stick").output
    assert sorted(path.name for path in tmp_path.iterdir() if "unfinished" in path.name) == []


def test_a_store_in_use_is_carried(tmp_path):
    night = Night(tmp_path / "live.db", START)
    night.settings()
    night.seconds(0, 60)
    assert run("carry", "out", "--store", tmp_path / "live.db", tmp_path / "stick").exit_code == 0
    night.seconds(60, 70)
    night.close()
    assert verify(tmp_path / "stick" / "live.db").problems == ()


def test_too_little_room_is_said_before_anything_is_written(store, tmp_path, monkeypatch):
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage(10_000_000, 5_000_000, 5_000_000))
    refused = run("carry", "out", "--store", store, tmp_path / "stick")
    assert "5 MB free" in str(refused.exception)
    assert not (tmp_path / "stick").exists()


def test_a_full_stick_leaves_nothing(store, tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    refused = run("carry", "out", "--store", store, tmp_path / "stick")
    assert "No space left on device" in str(refused.exception)
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith("stick")] == []


@pytest.mark.parametrize("fault", ["changed", "missing", "no sums", "outside"])
def test_what_does_not_read_back_is_named(store, tmp_path, fault):
    stick = tmp_path / "stick"
    run("carry", "out", "--store", store, stick)
    if fault == "changed":
        data = bytearray((stick / "night.db").read_bytes())
        data[5000] ^= 1
        (stick / "night.db").write_bytes(data)
    elif fault == "missing":
        (stick / "night.db").unlink()
    elif fault == "no sums":
        (stick / "SHA256SUMS").unlink()
    else:
        (stick / "SHA256SUMS").write_text(f"{'0' * 64}  ../night.db\n")
    refused = run("carry", "check", stick)
    said = {"changed": "does not read back", "missing": "lacks night.db", "no sums": "no readable SHA256SUMS",
            "outside": "lacks ../night.db"}  # fmt: skip
    assert said[fault] in str(refused.exception)
    assert isinstance(refused.exception, UserError)


def test_bad_targets_are_one_sentence(store, tmp_path):
    (tmp_path / "stick").mkdir()
    for words, why in (
        ((tmp_path / "stick",), "stays as it is"),
        ((tmp_path / "no" / "stick",), "plug the stick in"),
        ((tmp_path / "new", tmp_path / "none.pdf"), "There is no file"),
        ((tmp_path / "new", store), "the same name"),
    ):
        refused = run("carry", "out", "--store", store, *words)
        assert why in str(refused.exception)
        assert isinstance(refused.exception, UserError)
    assert not (tmp_path / "new").exists()
