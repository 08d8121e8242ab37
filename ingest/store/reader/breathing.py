"""Breaths and circuit pressure in the shapes that the breathing analysis takes."""

import numpy as np

from ingest.analysis.breathing.model import BreathTable, PressureTrace
from ingest.store.reader.rows import Records, Series

WAVE_HZ = 100.0
# A jump of more than this between samples begins a new trace.
JOIN_MS = 15


def breath_table(rows: Records) -> BreathTable:
    """Return the records of breaths as a table in time order; `t` of a breath is when it ended."""
    order = np.argsort(rows.t, kind="stable")
    column = {name: rows[name].astype(np.float64)[order] for name in rows.columns}
    length_ms = np.rint(column["ti"] + column["te"]).astype(np.int64)
    return BreathTable(
        start_ms=rows.t[order] - length_ms,
        ti_s=column["ti"] / 1000,
        te_s=column["te"] / 1000,
        peak=column["peak"],
        plateau=column["plateau"],
        end_expiratory=column["end_expiratory"],
        mean=column["mean"],
        minimum=column["minimum"],
    )


def traces(wave: Series) -> list[PressureTrace]:
    """Return the waveform as traces without holes, oldest first; NaN where a sample was not available."""
    if not len(wave.t):
        return []
    edges = np.r_[0, np.flatnonzero(np.diff(wave.t) > JOIN_MS) + 1, len(wave.t)]
    return [
        PressureTrace(start_ms=int(wave.t[a]), rate_hz=WAVE_HZ, pressure_cmh2o=wave.value[a:b])
        for a, b in zip(edges[:-1], edges[1:], strict=True)
    ]
