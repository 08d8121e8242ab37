"""A night of a store in open formats, read back by programs that know nothing of it."""

import csv
import io
import json
from datetime import datetime
from io import BytesIO

import edfio
import numpy as np
import pyedflib
import pytest
from click.testing import CliRunner
from fhir.resources.R4B.observation import Observation

from ingest.cli.export import export
from ingest.errors import UserError
from ingest.exports.recorded import chosen_night
from ingest.store.annotations import open_annotations
from ingest.store.reader import open_reader, tables
from tests.support.night_store import DARK, MODULE, OUTAGE, write_night

START = 1_772_308_800_000  # 2026-02-28 20:00 UTC
HOURS = 3.5
MINUTE = 60_000
SECRET = "told by Zoë, bed 7"


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """Three and a half hours with an outage, a dark quarter of an hour, and a signed mark."""
    path = write_night(tmp_path_factory.mktemp("export") / "night.db", START, HOURS)
    with open_annotations(path, START) as notes:
        at = START + 30 * MINUTE
        notes.add(module=MODULE, utc=at, kind="suction", author="Z. Q.", text=SECRET, now=START)
    return path


@pytest.fixture(scope="module")
def written(store, tmp_path_factory):
    """All three formats, as the command writes them: stripped, and with what was typed."""
    folder = tmp_path_factory.mktemp("out")
    for name, more in (("strip", []), ("keep", ["--keep-text"])):
        at = folder / name
        at.mkdir()
        done = CliRunner().invoke(
            export,
            ["--store", str(store), "--csv", str(at / "csv"), "--edf", str(at / "n.edf"),
             "--fhir", str(at / "n.ndjson"), *more],
        )  # fmt: skip
        assert done.exit_code == 0, done.output
    return folder


def table(path):
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8"))))


def test_what_was_typed_leaves_only_when_asked(written):
    for path in (written / "strip").rglob("*.*"):
        data = path.read_bytes()
        assert b"Zo" not in data, path
        assert b"Z. Q." not in data, path
    assert SECRET.encode() in (written / "keep" / "csv" / "marks.csv").read_bytes()
    assert b"Zo" in (written / "keep" / "n.edf").read_bytes()


def test_every_row_says_simulated_and_every_column_its_unit(written, store):
    rows = table(written / "strip" / "csv" / "trends.csv")
    with open_reader(store) as reader:
        assert len(rows) == len(reader.trends(MODULE, START, START + 10**8, ["oxygen"]).t)
    assert {row["origin"] for row in rows} == {"SIMULATED"}
    assert "source oxygen purity (%)" in rows[0]
    assert not [name for name in rows[0] if "inspired" in name or "delivered" in name]
    first = datetime.fromisoformat(rows[0]["time (ISO 8601)"])
    assert round(first.timestamp() * 1000) == START + 500
    dead = [r for r in rows if OUTAGE[0] + 2 < _minute(r) < OUTAGE[1] - 2]
    assert {r["supply state"] for r in dead} == {"stored_energy"}
    assert max(float(r["supply in (V)"]) for r in dead) < 20
    assert not [r for r in rows if DARK[0] + 0.1 < _minute(r) < DARK[1] - 0.1]


def _minute(row):
    return (datetime.fromisoformat(row["time (ISO 8601)"]).timestamp() * 1000 - START) / MINUTE


def test_breaths_and_alarms_are_those_of_the_store(written, store):
    breaths = table(written / "strip" / "csv" / "breaths.csv")
    with open_reader(store) as reader:
        rows = reader.breaths(MODULE, START, START + 10**8)
        alarms = reader.alarms(MODULE, START, START + 10**8)
    assert sorted(float(b["peak (cmH2O)"]) for b in breaths) == pytest.approx(sorted(rows["peak"]), abs=0.005)
    said = table(written / "strip" / "csv" / "alarms.csv")
    assert [a["condition"] for a in said] == [tables.ALARMS[a.row].name for a in alarms]


def test_two_readers_find_the_wave_and_the_alarms_in_edf(written, store):
    data = (written / "keep" / "n.edf").read_bytes()
    edf = edfio.read_edf(BytesIO(data))
    assert edf.labels == ("circuit pressure", "source oxygen", "supply in", "supply out")
    with open_reader(store) as reader:
        wave = reader.wave(MODULE, START, START + 20 * MINUTE)
    index = (wave.t - START) // 10
    known = ~np.isnan(wave.value)
    assert edf.signals[0].data[index[known]] == pytest.approx(wave.value[known], abs=0.006)
    texts = [note.text for note in edf.annotations]
    assert "alarm medium: stored_energy" in texts
    assert f"mark: suction: {SECRET} (Z. Q.)" in texts
    dark = [n for n in edf.annotations if n.text == "not recorded: circuit pressure"]
    assert any(abs(n.onset - DARK[0] * 60) < 2 and abs(n.duration - 720) < 3 for n in dark)
    with pyedflib.EdfReader(str(written / "keep" / "n.edf")) as second:
        assert second.getSignalLabels() == list(edf.labels)
        assert second.readSignal(0) == pytest.approx(edf.signals[0].data, abs=1e-6)


def test_fhir_lines_pass_the_models_of_r4b(written):
    """R4B (4.3.0) models: none of R4 (4.0.1) are at hand; the writer states the difference."""
    lines = (written / "strip" / "n.ndjson").read_text("utf-8").splitlines()
    found = [Observation.model_validate(json.loads(line)) for line in lines]
    assert len(found) == 4 * 8
    for one in found:
        assert {tag.code for tag in one.meta.tag} == {"HTEST", "SIMULATED"}
        systems = {coding.system for coding in one.code.coding}
        if "oxygen" in one.code.text:
            assert systems == {"https://nightkeel.invalid/fhir/CodeSystem/measurement"}
        assert (one.valueQuantity is None) != (one.dataAbsentReason is None)
    rates = [one for one in found if one.code.coding[0].code == "33438-3"]
    # A breath each five seconds.
    assert {float(one.valueQuantity.value) for one in rates} == {12.0}


def test_a_wrong_night_or_module_is_refused_in_one_sentence(store):
    with open_reader(store) as reader:
        for module, night in (("00000001", None), (None, "1999-01-01")):
            with pytest.raises(UserError, match="There is no"):
                chosen_night(reader, module, night)
