"""CSV: units in the header, ISO times right across a clock change, typed text stripped, no formulas."""

import csv
import io
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from ingest.analysis.night_clock import utc_ms
from ingest.exports.csv_table import NumberColumn, TextColumn, csv_bytes


def _table(**changes) -> bytes:
    start = utc_ms(datetime(2026, 10, 25, 0, 30, tzinfo=UTC))
    given = {
        "times_ms": start + 1_800_000 * np.arange(3, dtype=np.int64),
        "columns": [
            NumberColumn(
                name="circuit_pressure_mean", unit="cmH2O", decimals=2, values=np.array([7.5, np.nan, -0.004])
            ),
            TextColumn(name="condition", values=["purity low", "=1+1", 'a, "b"\nc']),
            TextColumn(name="note", values=["Ann", "", "x"], typed=True),
        ],
        "zone": ZoneInfo("Europe/Paris"), "emulated": True,
    }  # fmt: skip
    return csv_bytes(**(given | changes))


def test_header_times_and_missing_values() -> None:
    rows = list(csv.reader(io.StringIO(_table().decode(), newline="")))
    assert rows[0] == ["time (ISO 8601)", "circuit_pressure_mean (cmH2O)", "condition", "origin"]
    # The doubled hour of 2026-10-25 is told apart by its offset (EU rule, clocks back at 01:00 UTC).
    assert [row[0] for row in rows[1:]] == [
        "2026-10-25T02:30:00.000+02:00", "2026-10-25T02:00:00.000+01:00", "2026-10-25T02:30:00.000+01:00"
    ]  # fmt: skip
    assert [row[1] for row in rows[1:]] == ["7.50", "", "-0.00"]
    assert [row[2] for row in rows[1:]] == ["purity low", "'=1+1", 'a, "b"\nc']
    assert {row[3] for row in rows[1:]} == {"SIMULATED"}


def test_an_independent_reader_gets_the_same_numbers() -> None:
    frame = pd.read_csv(io.BytesIO(_table()))
    values = frame["circuit_pressure_mean (cmH2O)"]
    assert values.iloc[0] == 7.5 and np.isnan(values.iloc[1])
    times = pd.to_datetime(frame["time (ISO 8601)"], utc=True)
    assert list(times.diff().dt.total_seconds().iloc[1:]) == [1800.0, 1800.0]


def test_typed_text_only_without_strip() -> None:
    assert b"Ann" not in _table()
    assert b"Ann" in _table(strip=False)
    assert b"real module" in _table(emulated=False)


def test_columns_of_another_length_are_our_mistake() -> None:
    with pytest.raises(ValueError, match="has 1 rows"):
        _table(columns=[TextColumn(name="x", values=["one"])])
