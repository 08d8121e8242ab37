"""EDF+: read back by two independent readers, limits of the second one stated."""

from datetime import UTC, date, datetime
from io import BytesIO
from pathlib import Path

import edfio
import numpy as np
import pyedflib
import pytest

from ingest.analysis.night_clock import utc_ms
from ingest.errors import UserError
from ingest.exports.edf import MISSING, EdfTrack, Mark, edf_bytes

START_MS = utc_ms(datetime(2026, 3, 29, 0, 59, 58, 250_000, tzinfo=UTC))


def _tracks() -> list[EdfTrack]:
    rng = np.random.default_rng(4)
    wave = np.round(15 + 10 * np.sin(np.arange(3000) / 50) + rng.normal(0, 0.2, 3000), 2)
    wave[500:750] = np.nan
    purity = np.linspace(93, 81, 25)
    return [
        EdfTrack(label="circuit pressure", unit="cmH2O", rate_hz=100, values=wave, resolution=0.01),
        EdfTrack(label="source oxygen", unit="%", rate_hz=1, values=purity, resolution=0.01),
        EdfTrack(label="supply in", unit="V", rate_hz=1, values=np.full(30, 800.0), resolution=0.025),
    ]


MARKS = [
    Mark(at_ms=START_MS + 4_500, seconds=12.5, category="purity low", typed=None),
    Mark(
        at_ms=START_MS + 4_600, seconds=None, category="note",
        typed="suction done by A. B., élève infirmière",
    ),
    Mark(at_ms=START_MS - 9_000, seconds=1.0, category="circuit apart"),
]


def _written(**changes) -> bytes:
    given = {
        "start_ms": START_MS, "tracks": _tracks(), "marks": MARKS, "emulated": True, "module": "bed 3",
        "missing_category": "no data", "case_label": "case Zoë 12", "strip": False,
    }  # fmt: skip
    return edf_bytes(**(given | changes))


def test_edfio_reads_samples_times_and_every_annotation() -> None:
    edf = edfio.read_edf(BytesIO(_written()))
    assert edf.labels == ("circuit pressure", "source oxygen", "supply in")
    assert edf.startdate == date(2026, 3, 29)
    assert edf.starttime.isoformat() == "00:59:58.250000"
    for track, signal in zip(_tracks(), edf.signals, strict=True):
        digital, held = signal.digital[: track.values.size], ~np.isnan(track.values)
        assert signal.physical_dimension == track.unit
        assert signal.data[: track.values.size][held] == pytest.approx(
            track.values[held], abs=track.resolution / 2 + 1e-9
        )
        assert (digital[~held] == MISSING).all() and (digital[held] != MISSING).all()
        assert (signal.digital[track.values.size :] == MISSING).all()
    notes = [(a.onset, a.duration, a.text) for a in edf.annotations]
    assert notes == [
        (0.0, 1.0, "circuit apart"),
        (0.0, 30.0, "SIMULATED"),
        (4.5, 12.5, "purity low"),
        (4.6, None, "note: suction done by A. B., élève infirmière"),
        (5.0, 2.5, "no data: circuit pressure"),
        (25.0, 5.0, "no data: source oxygen"),
    ]
    assert edf.patient.code == "case_Zoe_12"
    assert "SIMULATED" in edf.local_recording_identification
    assert "times_UTC" in edf.local_recording_identification


def test_the_header_follows_the_format() -> None:
    # EDF+ specification: header 256·(1 + ns), version '0', reserved field 'EDF+C', int16 records.
    raw = _written()
    signals = int(raw[252:256])
    assert raw[:8] == b"0       " and raw[192:197] == b"EDF+C"
    assert int(raw[184:192]) == 256 * (1 + signals)
    samples = [int(raw[256 + signals * 216 + 8 * i :][:8]) for i in range(signals)]
    assert len(raw) == 256 * (1 + signals) + 2 * sum(samples) * int(raw[236:244])


def test_pyedflib_reads_the_same_samples(tmp_path: Path) -> None:
    path = tmp_path / "night.edf"
    path.write_bytes(_written())
    with pyedflib.EdfReader(str(path)) as reader:
        assert reader.signals_in_file == 3
        assert reader.getSampleFrequency(0) == 100
        assert reader.getPhysicalDimension(0) == "cmH2O"
        wave = _tracks()[0].values
        held = ~np.isnan(wave)
        assert reader.readSignal(0)[held] == pytest.approx(wave[held], abs=0.0051)
        # Known limit of this reader (0.1.42): 250 ms of the start are read as 25 ms.
        assert reader.getStartdatetime().isoformat().startswith("2026-03-29T00:59:58.025")
        onsets, lengths, texts = reader.readAnnotations()
        ours = edfio.read_edf(path).annotations
        assert list(texts) == [note.text for note in ours]
        assert list(onsets) == pytest.approx([note.onset for note in ours])
        assert list(lengths) == [-1.0 if note.duration is None else note.duration for note in ours]


def test_strip_leaves_out_what_somebody_typed() -> None:
    raw = _written(strip=True)
    for typed in (b"suction", b"Zo", b"A. B."):
        assert typed not in raw
    assert "note" in [a.text for a in edfio.read_edf(BytesIO(raw)).annotations]


def test_control_characters_cannot_break_an_annotation() -> None:
    bad = Mark(at_ms=START_MS, seconds=None, category="note", typed="a\x14b\x00c\x15d\ne")
    edf = edfio.read_edf(BytesIO(_written(marks=[bad])))
    assert "note: a b c d e" in [a.text for a in edf.annotations]


def test_real_data_are_not_called_simulated() -> None:
    edf = edfio.read_edf(BytesIO(_written(emulated=False)))
    assert "SIMULATED" not in [a.text for a in edf.annotations]
    assert "real_module" in edf.local_recording_identification


def test_values_beyond_the_range_are_clipped_never_wrapped_or_lost() -> None:
    track = EdfTrack(label="p", unit="cmH2O", rate_hz=1, values=np.array([-1e9, 1e9]), resolution=0.01)
    signal = edfio.read_edf(BytesIO(_written(tracks=[track]))).signals[0]
    assert list(signal.digital) == [-32767, 32767]


def test_a_date_the_format_cannot_hold_and_an_empty_span_are_refused() -> None:
    with pytest.raises(UserError, match="can't hold the year 1970"):
        _written(start_ms=0)
    with pytest.raises(UserError, match="nothing to export"):
        _written(tracks=[])
    with pytest.raises(ValueError, match="longer than the format"):
        _written(tracks=[EdfTrack(label="x" * 17, unit="V", rate_hz=1, values=np.zeros(3), resolution=0.01)])
