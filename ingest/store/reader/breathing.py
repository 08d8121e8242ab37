"""Breaths and circuit pressure in the shapes that the breathing analysis takes."""

import numpy as np

from ingest.analysis.breathing.model import BreathTable, PressureTrace
from ingest.store.reader.rows import Records, Series

WAVE_HZ = 100.0
# A jump of more than this between samples begins a new trace.
JOIN_MS = 15
# The module closes a breath once the next one's inspiration is over and it is sure of it: this long after.
SURE_MS = 120


def breath_table(rows: Records) -> BreathTable:
    """Return the records of breaths as a table in time order.

    `t` of a record is when the next breath's inspiration was over: from there each start is worked back,
    within about 0.05 s. After the last breath of a run its own inspiration stands for the next one's.
    """
    order = np.argsort(rows.t, kind="stable")
    column = {name: rows[name].astype(np.float64)[order] for name in rows.columns}
    next_ti = np.r_[column["ti"][1:], column["ti"][-1:]]
    length_ms = np.rint(column["ti"] + column["te"] + next_ti).astype(np.int64) + SURE_MS
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
