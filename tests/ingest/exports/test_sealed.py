"""A sealed case: the same bytes again, checked by tools that know nothing of it, and nobody named in it."""

import csv
import hashlib
import io
import json
import shutil
import subprocess
import zipfile

import edfio
import numpy as np
import pytest
from click.testing import CliRunner

from ingest.cli.export import export
from ingest.cli.seal import seal
from ingest.errors import UserError
from ingest.exports.sealed import check
from ingest.store.annotations import open_annotations
from ingest.store.reader import open_reader
from tests.support.night_store import MODULE, write_night

START = 1_772_308_800_000  # 2026-02-28 20:00 UTC
MINUTE = 60_000
SECRETS = ("Zoë", "Z. Q.", "cot 3", "invented ward", "bed 7", f"{MODULE:08x}", "2026-")


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """Half an hour with a case, hand entries and a signed note."""
    path = write_night(tmp_path_factory.mktemp("sealed") / "night.db", START, 0.5)
    with open_annotations(path, START) as notes:
        case = {"number": 3, "mode": "ventilator", "preset": "adult", "state": "ended"}
        for at, kind, text, data, end in (
            (2, "case", "cot 3", case, 22),
            (5, "hand", "", {"what": "spo2", "value": 94, "unit": "%"}, None),
            (6, "suction", "told by Zoë", {}, None),
        ):
            notes.add(
                module=MODULE, utc=START + at * MINUTE, kind=kind, author="Z. Q.", text=text, data=data,
                now=START, utc_end=None if end is None else START + end * MINUTE,
            )  # fmt: skip
    return path


def run(*words):
    return CliRunner().invoke(seal, [*map(str, words)], catch_exceptions=False).output


@pytest.fixture(scope="module")
def sealed(store, tmp_path_factory):
    """The case, sealed; its total hash as it was printed."""
    out = tmp_path_factory.mktemp("out") / "case.zip"
    said = run(store, "--case", 3, "--out", out)
    assert "de-identified" in said
    return out, said.split()[-1]


def unpacked(path):
    with zipfile.ZipFile(path) as packed:
        return {one: packed.read(one) for one in packed.namelist()}


def test_the_same_record_gives_the_same_bytes(store, sealed, tmp_path):
    run(store, "--case", 3, "--out", tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == sealed[0].read_bytes()
    with zipfile.ZipFile(sealed[0]) as packed:
        assert {(one.date_time, one.compress_type) for one in packed.infolist()} == {
            ((1980, 1, 1, 0, 0, 0), zipfile.ZIP_STORED)}  # fmt: skip


def test_the_tools_of_any_machine_check_it(sealed, tmp_path):
    """`unzip`-like unpacking and coreutils' sha256sum, which know nothing of us."""
    with zipfile.ZipFile(sealed[0]) as packed:
        packed.extractall(tmp_path)
    tool = shutil.which("sha256sum")
    assert tool is not None, "coreutils"
    asked = [tool, "-c", "SHA256SUMS"]
    done = subprocess.run(asked, cwd=tmp_path, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stdout
    assert sorted(one.split(":")[0] for one in done.stdout.splitlines()) == sorted(
        set(unpacked(sealed[0])) - {"SHA256SUMS"})  # fmt: skip
    assert hashlib.sha256((tmp_path / "SHA256SUMS").read_bytes()).hexdigest() == sealed[1]


def test_nobody_and_no_place_is_named(store, sealed, tmp_path):
    whole = b"\n".join(unpacked(sealed[0]).values())
    for secret in SECRETS:
        assert secret.encode() not in whole, secret
    run(store, "--case", 3, "--identified", "--out", tmp_path / "named.zip")
    named = b"\n".join(unpacked(tmp_path / "named.zip").values())
    for secret in SECRETS:
        assert secret.encode() in named, secret


def test_times_of_day_and_distances_stay(store, sealed):
    files = unpacked(sealed[0])
    rows = list(csv.DictReader(io.StringIO(files["trends.csv"].decode())))
    assert rows[0]["time (ISO 8601)"].startswith("2000-01-01T20:02:0")
    assert rows[-1]["time (ISO 8601)"].startswith("2000-01-01T20:21:5")
    assert {row["origin"] for row in rows} == {"SIMULATED"}
    edf = edfio.read_edf(io.BytesIO(files["record.edf"]))
    assert str(edf.startdate) == "2000-01-01"
    assert str(edf.starttime)[:5] == "20:02"
    assert any(one.text == "entered by hand: spo2 94 %" and one.onset == 180 for one in edf.annotations)
    # The waveform is the store's, sample for sample; EDF+ keeps 0.01 cmH2O.
    with open_reader(store) as reader:
        wave = reader.wave(MODULE, START + 2 * MINUTE, START + 22 * MINUTE)
    told = [float(row["circuit pressure (cmH2O)"]) for row in csv.DictReader(
        io.StringIO(files["wave.csv"].decode()))]  # fmt: skip
    assert np.allclose(told, np.round(wave.value, 2), atol=0.0051)
    (hand,) = csv.DictReader(io.StringIO(files["hand_entries.csv"].decode()))
    assert (hand["entered by hand"], hand["value"], hand["unit"]) == ("spo2", "94.00", "%")
    assert "author" not in hand


def test_limits_and_the_case_stand_in_it(sealed):
    files = unpacked(sealed[0])
    found = json.loads(files["case.json"])
    assert found["origin"] == "SIMULATED"
    assert found["case"] == {
        "number": 3, "mode": "ventilator", "preset": "adult", "start": "2000-01-01T20:02:00.000Z",
        "end": "2000-01-01T20:22:00.000Z",
    }  # fmt: skip
    assert found["settings"][0]["values"]["pressure.high"] == "35.00 cmH2O"
    assert files["README.txt"].decode().startswith("SIMULATED.")


def changed(path, to, edit):
    """Write a ZIP anew with its files edited."""
    files = unpacked(path)
    edit(files)
    with zipfile.ZipFile(to, "w") as packed:
        for name, data in files.items():
            packed.writestr(name, data)
    return to


@pytest.mark.parametrize(
    ("edit", "sentence"),
    [
        (lambda f: f.update({"trends.csv": f["trends.csv"] + b"x"}), "trends.csv was changed"),
        (lambda f: f.pop("alarms.csv"), "alarms.csv was sealed and is missing"),
        (lambda f: f.update({"more.csv": b"x"}), "more.csv was added"),
        (lambda f: f.pop("SHA256SUMS"), "holds no SHA256SUMS"),
        (lambda f: f.update({"SHA256SUMS": b"\xff"}), "SHA256SUMS is damaged"),
    ],
)
def test_every_change_is_seen(sealed, tmp_path, edit, sentence):
    path = changed(sealed[0], tmp_path / "x.zip", edit)
    with pytest.raises(UserError, match=sentence):
        run(path, "--check")


def test_a_new_seal_over_a_changed_record_has_another_total_hash(sealed, tmp_path):
    assert "none changed since sealing. SIMULATED." in run(sealed[0], "--check", "--hash", sealed[1])

    def forged(files):
        files["alarms.csv"] += b"x"
        del files["SHA256SUMS"]
        rows = [f"{hashlib.sha256(data).hexdigest()}  {name}" for name, data in sorted(files.items())]
        files["SHA256SUMS"] = ("\n".join(rows) + "\n").encode()

    path = changed(sealed[0], tmp_path / "forged.zip", forged)
    assert check(path.read_bytes()).total != sealed[1]
    with pytest.raises(UserError, match="not the one that was written down"):
        run(path, "--check", "--hash", sealed[1])


def test_ten_minutes_around_an_event_and_odd_wishes(store, sealed, tmp_path):
    out = tmp_path / "event.zip"
    run(store, "--around", "2026-02-28T21:12", "--zone", "Europe/Paris", "--out", out)
    manifest = check(out.read_bytes()).manifest
    assert (manifest["from"], manifest["to"]) == ("2000-01-01T20:02:00.000Z", "2000-01-01T20:22:00.000Z")
    found = json.loads(unpacked(out)["case.json"])
    assert found["case"]["number"] == 3, "the case it lies in"
    for words, sentence in (
        ((store, "--case", 9, "--out", tmp_path / "a"), "no case 9 of this module; there are 3"),
        ((store, "--around", "noon", "--out", tmp_path / "a"), "YYYY-MM-DDTHH:MM"),
        ((store, "--around", "2026-03-02T00:00", "--out", tmp_path / "a"), "holds nothing around that time"),
        ((store, "--case", 3), "Name what to seal"),
        ((store, "--case", 3, "--around", "2026-02-28T20:10", "--out", tmp_path / "a"), "Name what to seal"),
        ((store, "--case", 3, "--out", sealed[0]), "is there already"),
        ((store, "--case", 3, "--module", "zz", "--out", tmp_path / "a"), "There is no module 'zz'"),
        ((store, "--check"), "no sealed case, or it is damaged"),
    ):
        with pytest.raises(UserError, match=sentence):
            run(*words)
    assert not (tmp_path / "a").exists()


def test_one_case_is_exported_in_place_of_a_night(store, tmp_path):
    words = ["--store", str(store), "--csv", str(tmp_path), "--case", "3"]
    assert CliRunner().invoke(export, words, catch_exceptions=False).exit_code == 0
    rows = list(csv.DictReader(io.StringIO((tmp_path / "trends.csv").read_text("utf-8"))))
    assert (rows[0]["time (ISO 8601)"][:16], rows[-1]["time (ISO 8601)"][:16]) == (
        "2026-02-28T20:02", "2026-02-28T20:21")  # fmt: skip
    with pytest.raises(UserError, match="not both"):
        CliRunner().invoke(export, [*words, "--night", "2026-02-28"], catch_exceptions=False)
