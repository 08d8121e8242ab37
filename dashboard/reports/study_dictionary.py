"""Describe the tables of a study column by column, and make a package of them that names nobody."""

import io
import zipfile
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pandas as pd

from dashboard.reports.study_captures import listed, waves
from dashboard.reports.study_tables import TABLES, Case, Frame, tables_of, unit_of
from dashboard.site_marks import LABELS
from dashboard.texts import Words
from ingest.analysis.supply.study import Study
from ingest.store.reader import Capture

WORDS = Words("en")
# A Monday: times of a package are moved by whole weeks to the week that begins here.
FIRST_WEEK = datetime(2000, 1, 3, tzinfo=UTC)


def dictionary(case: Case, words: Words = WORDS, tables: dict[str, Frame] | None = None) -> Frame:
    """Return each table's columns with type, unit and meaning; `tables`: of the case, if made already."""
    rows = [
        {
            "table": name,
            "column": column,
            "type": str(table[column].dtype),
            "unit": unit_of(column),
            "meaning": words(f"study.data.{column}"),
        }
        for name, table in (tables_of(case) if tables is None else tables).items()
        for column in table.columns
    ]
    return pd.DataFrame(rows)


def package(case: Case, words: Words = WORDS, captures: Sequence[Capture] = ()) -> bytes:
    """Return a zip with all tables and waveforms, without module number, site, bed, dates and free text.

    Hours of the day and weekdays (UTC) stay; the offset of the weeks is not in it.
    """
    shift = week_shift(case)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, table in tables_of(hidden(case)).items():
            _write(archive, f"{name}.csv", _moved(table, shift).to_csv(index=False))
        origin = "SIMULATED" if case.site.module.emulated else "real module"
        _write(archive, "captures.csv", _moved(listed(captures, origin), shift).to_csv(index=False))
        for name, wave in waves(captures):
            _write(archive, name, wave.to_csv(index=False))
        told = pd.concat([dictionary(case, words), _told(words)], ignore_index=True)
        _write(archive, "dictionary.csv", told.to_csv(index=False))
        _write(archive, "README.txt", words("study.package", tables=", ".join(TABLES)) + "\n")
    return out.getvalue()


def _told(words: Words) -> Frame:
    """Return the dictionary's rows on waveforms."""
    types = {"file": "str", "start_utc": "datetime", "kind": "str", "samples": "int64", "complete": "bool",
             "origin": "str", "ms": "float64", "before_v": "float64", "after_v": "float64"}  # fmt: skip
    rows = [
        {"table": "waves" if column in ("ms", "before_v", "after_v") else "captures", "column": column,
         "type": kind, "unit": "ms" if column == "ms" else unit_of(column),
         "meaning": words(f"study.data.capture.{column}")}
        for column, kind in types.items()
    ]  # fmt: skip
    return pd.DataFrame(rows)


def _write(archive: zipfile.ZipFile, name: str, text: str) -> None:
    # Without the time of writing the same data give the same bytes.
    archive.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), text, zipfile.ZIP_DEFLATED)


def week_shift(case: Case) -> timedelta:
    """Return by how many whole weeks the times of a package move."""
    begin = datetime.fromtimestamp(case.study.begin_s, UTC)
    return (begin - FIRST_WEEK) // timedelta(weeks=1) * timedelta(weeks=1)


def hidden(case: Case) -> Case:
    """Return a case without names: module 'a', and only what kind of event people said it was."""
    record = case.site.record
    events = tuple(replace(event, module="a") for event in record.events)
    labels = tuple(label if label in LABELS else "" for label in case.site.labels)
    site = replace(case.site, record=replace(record, events=events), labels=labels, about={})
    return replace(case, site=site, study=_unnamed(case.study))


def _unnamed(study: Study) -> Study:
    """Return a study that names equipment by letters only: a free name may tell whose it is."""
    names = sorted({t.equipment for t in study.trials})
    letter = {name: f"equipment {n + 1}" for n, name in enumerate(names)}
    trials = tuple(replace(t, equipment=letter[t.equipment]) for t in study.trials)
    curves = tuple(replace(r, equipment=letter.get(r.equipment, "")) for r in study.ride_through)
    return replace(study, trials=trials, ride_through=curves)


def _moved(table: Frame, shift: timedelta) -> Frame:
    moved: dict[str, Any] = {}
    for column in table.columns:
        if column.endswith("_utc"):
            at = pd.to_datetime(table[column], utc=True) - shift
            moved[column] = at.dt.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    return table.assign(**moved)
