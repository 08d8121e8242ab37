"""Write waveform and trends as EDF+ with alarms and marks as annotations.

Format: Kemp, Olivan, "European data format 'plus' (EDF+)", Clin Neurophysiol 2003;114:1755, through the
library `edfio`. EDF knows no missing value and no zone: here the lowest digital value means 'no sample',
every such stretch has its own annotation, and the start is UTC, said in the recording field. Known limits of
other tools: pyedflib's writer keeps one annotation a record and 40 bytes of text, and its reader (0.1.42)
reads the fraction of the starting second ten times too small; the file holds them whole.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC
from typing import Final

import numpy as np
from edfio import Edf, EdfAnnotation, EdfSignal, Patient, Recording
from numpy.typing import NDArray

from ingest.analysis.night_clock import local_time
from ingest.analysis.refusal import Refused

MISSING: Final = -32768
LABEL_MAX: Final = 16
UNIT_MAX: Final = 8
YEARS: Final = (1985, 2084)  # what the two-digit year of the format can say


@dataclass(frozen=True, slots=True, kw_only=True)
class EdfTrack:
    """Hold one signal: label (16 characters), unit (8), samples a second, values with nan where missing.

    `resolution` is one digital step in the unit; the range is ±32767 steps, values beyond are clipped.
    """

    label: str
    unit: str
    rate_hz: int
    values: NDArray[np.float64]
    resolution: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """Hold one annotation: UTC ms, length in s (None: a moment), a category, and text that a person typed."""

    at_ms: int
    seconds: float | None
    category: str
    typed: str | None = None


def edf_bytes(
    *,
    start_ms: int,
    tracks: Sequence[EdfTrack],
    marks: Sequence[Mark],
    emulated: bool,
    module: str,
    missing_category: str,
    case_label: str | None = None,
    strip: bool = True,
) -> bytes:
    """Return a whole EDF+C file; all tracks start at `start_ms` (UTC ms) and are padded to one length.

    Marks before the start or after the end are kept at the edge. `strip` leaves out all that a person
    typed: the case label and the text of marks. `missing_category` is the text of stretches without data.
    """
    began = local_time(start_ms, UTC)
    if not YEARS[0] <= began.year <= YEARS[1]:
        raise Refused("refused.edf_year", year=began.year, first=YEARS[0], last=YEARS[1])
    seconds = max((-(-track.values.size // track.rate_hz) for track in tracks), default=0)
    if seconds == 0:
        raise Refused("refused.nothing_to_export")
    notes = [_annotation(mark, start_ms, seconds, strip) for mark in marks]
    for track in tracks:
        notes += _missing_notes(track, seconds, missing_category)
    if emulated:
        notes.append(EdfAnnotation(0.0, float(seconds), "SIMULATED"))
    patient = Patient(code="X" if strip or not case_label else _subfield(case_label))
    recording = Recording(
        startdate=began.date(),
        equipment_code=_subfield(module),
        additional=("SIMULATED" if emulated else "real_module", "times_UTC"),
    )
    return Edf(
        [_signal(track, seconds) for track in tracks],
        patient=patient, recording=recording, starttime=began.time().replace(tzinfo=None),
        data_record_duration=1.0, annotations=sorted(notes),
    ).to_bytes()  # fmt: skip


def _subfield(text: str) -> str:
    """Return text that a header subfield may hold: ASCII, no spaces, 20 characters."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return "_".join(plain.split())[:20] or "X"


def _signal(track: EdfTrack, seconds: int) -> EdfSignal:
    if len(track.label) > LABEL_MAX or len(track.unit) > UNIT_MAX:
        raise ValueError(f"label {track.label!r} or unit {track.unit!r} is longer than the format allows")
    padded = np.full(seconds * track.rate_hz, np.nan)
    padded[: track.values.size] = track.values
    steps = np.clip(np.rint(padded / track.resolution), MISSING + 1, -MISSING - 1)
    digital = np.where(np.isnan(padded), MISSING, steps).astype(np.int16)
    low, high = (round(edge * track.resolution, 6) for edge in (MISSING, -MISSING - 1))
    return EdfSignal.from_digital(
        digital, float(track.rate_hz), label=track.label, physical_dimension=track.unit,
        physical_range=(low, high), digital_range=(MISSING, -MISSING - 1),
        prefiltering=f"missing = {MISSING}",
    )  # fmt: skip


def _missing_notes(track: EdfTrack, seconds: int, category: str) -> list[EdfAnnotation]:
    """Return one annotation for each stretch without samples, at the end of the track too."""
    absent = np.ones(seconds * track.rate_hz, dtype=np.int8)
    absent[: track.values.size] = np.isnan(track.values)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], absent, [0]))))
    return [
        EdfAnnotation(float(a / track.rate_hz), float((b - a) / track.rate_hz), f"{category}: {track.label}")
        for a, b in zip(edges[::2], edges[1::2], strict=True)
    ]


def _annotation(mark: Mark, start_ms: int, seconds: int, strip: bool) -> EdfAnnotation:
    onset = min(max((mark.at_ms - start_ms) / 1000.0, 0.0), float(seconds))
    text = mark.category if strip or not mark.typed else f"{mark.category}: {mark.typed}"
    # Control characters would end the annotation early.
    text = "".join(" " if unicodedata.category(sign) == "Cc" else sign for sign in text)
    return EdfAnnotation(onset, None if mark.seconds is None else max(mark.seconds, 0.0), text)
