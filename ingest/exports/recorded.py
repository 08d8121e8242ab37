"""Take one night of a module out of a store and write it in the open formats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, tzinfo
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ingest.analysis.breathing.trends import hourly
from ingest.analysis.case_look import case_span
from ingest.analysis.cases import KIND as CASE
from ingest.analysis.cases import cases, numbered
from ingest.analysis.hand import ENTRIES, hand_points
from ingest.analysis.mark_kinds import notes
from ingest.analysis.night_clock import local_time, night_hours
from ingest.errors import UserError
from ingest.exports.csv_table import NumberColumn, TextColumn, csv_bytes
from ingest.exports.edf import EdfTrack, Mark, edf_bytes
from ingest.exports.fhir import BY_HAND, Measurement, fhir_ndjson
from ingest.store.reader import AlarmInterval, Module, Night, Reader, breathing, tables

WAVE_HZ = 100
STEP_MS = 1000 // WAVE_HZ
TRENDS = (
    ("supply_in", "V", 2), ("supply_out", "V", 2), ("frequency_in", "Hz", 3), ("frequency_out", "Hz", 3),
    ("oxygen", "%", 2), ("pressure", "cmH2O", 2), ("battery_voltage", "V", 2), ("product_pressure", "kPa", 1),
)  # fmt: skip
# Names of columns: what is measured at the source is never called inspired.
NAMES = {"oxygen": "source oxygen purity", "pressure": "circuit pressure"}
BREATH_COLUMNS = (
    ("peak", "cmH2O"), ("plateau", "cmH2O"), ("end_expiratory", "cmH2O"), ("mean", "cmH2O"),
    ("ti_s", "s"), ("te_s", "s"), ("rate_min", "/min"),
)  # fmt: skip
PURITY_NOT_CURRENT = ("not_current", "fault")


def chosen_night(reader: Reader, module: str | None, date: str | None) -> tuple[Module, Night]:
    """Return a module (hexadecimal number; None: the last heard) and its night (UTC date; None: the last)."""
    found = chosen_module(reader, module)
    nights = {local_time(one.start, UTC).date().isoformat(): one for one in reader.nights(found.id)}
    if not nights or (date is not None and date not in nights):
        known = ", ".join(sorted(nights)[-7:]) or "none"
        raise UserError(f"There is no night of {date or 'any date'} in the store; there are {known}.")
    return found, nights[date or max(nights)]


def chosen_case(reader: Reader, module: str | None, number: int, now_ms: int) -> tuple[Module, Night]:
    """Return a module and one of its cases as a stretch of time."""
    found = chosen_module(reader, module)
    case = numbered(cases(reader.marks(found.id, kind=CASE)), number)
    return found, reader.stretch(found.id, *case_span(reader, case, now_ms))


def chosen_module(reader: Reader, module: str | None) -> Module:
    """Return a module by its hexadecimal number (None: the last heard)."""
    modules = {f"{one.id:08x}": one for one in reader.modules()}
    if not modules:
        raise UserError("The store holds no module yet; record into it with `nightkeel ingest`.")
    if module is not None and module.lower() not in modules:
        raise UserError(f"There is no module {module!r} in the store; there are {', '.join(modules)}.")
    return modules[module.lower()] if module else max(modules.values(), key=lambda one: one.last_utc)


def write_csv(
    reader: Reader, module: Module, night: Night, folder: Path, *, zone: tzinfo, strip: bool
) -> list[Path]:
    """Write trends, breaths, alarms, marks and hand entries of a night, one table each; return the paths."""
    written = []
    for name, content in csv_tables(reader, module, night, zone=zone, strip=strip).items():
        path = folder / f"{name}.csv"
        folder.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        written.append(path)
    return written


def csv_tables(
    reader: Reader, module: Module, night: Night, *, zone: tzinfo, strip: bool, shift_ms: int = 0
) -> dict[str, bytes]:
    """Return the tables of a night by name; `shift_ms` is added to every time."""
    start, end = night.first, night.last
    return {
        name: csv_bytes(
            times_ms=times + shift_ms, columns=columns, zone=zone, emulated=module.emulated, strip=strip
        )
        for name, times, columns in (
            ("trends", *_trend_columns(reader, module.id, start, end)),
            ("breaths", *_breath_columns(reader, module.id, start, end)),
            ("alarms", *_alarm_columns(reader.alarms(module.id, start, end))),
            ("marks", *_mark_columns(reader, module.id, start, end)),
            ("hand_entries", *_hand_columns(reader, module.id, start, end)),
        )
    }


Columns = tuple[NDArray[np.int64], list[NumberColumn | TextColumn]]


def _trend_columns(reader: Reader, module: int, start: int, end: int) -> Columns:
    found = reader.trends(module, start, end, [name for name, _, _ in TRENDS])
    columns: list[NumberColumn | TextColumn] = []
    for name, unit, decimals in TRENDS:
        kinds = (("", found.mean), (" lowest", found.minimum), (" highest", found.maximum))
        for suffix, values in kinds if name in ("supply_in", "supply_out", "pressure") else kinds[:1]:
            title = NAMES.get(name, name.replace("_", " ")) + suffix
            columns.append(NumberColumn(name=title, unit=unit, decimals=decimals, values=values[name]))
    for column, words in (
        ("supply_state", tables.SUPPLY_STATES), ("oxygen_state", tables.OXYGEN_STATES), ("mode", tables.MODES)
    ):  # fmt: skip
        text = np.full(found.t.size, "", dtype=object)
        for band in reader.bands(module, start, end, column):
            first, last = np.searchsorted(found.t, (band.start, band.end))
            text[first:last] = words[band.code]
        columns.append(TextColumn(name=column.replace("_", " "), values=text.tolist()))
    return found.t, columns


def _breath_columns(reader: Reader, module: int, start: int, end: int) -> Columns:
    rows = reader.breaths(module, start, end)
    table = breathing.breath_table(rows)
    kinds = rows["kind"][np.argsort(rows.t, kind="stable")]
    columns: list[NumberColumn | TextColumn] = [
        NumberColumn(
            name=name.removesuffix("_s").removesuffix("_min").replace("_", " "), unit=unit, decimals=2,
            values=getattr(table, name),
        )
        for name, unit in BREATH_COLUMNS
    ]  # fmt: skip
    columns.append(TextColumn(name="kind", values=[tables.BREATH_KINDS[int(k)] for k in kinds]))
    return table.start_ms, columns


def _alarm_columns(alarms: Sequence[AlarmInterval]) -> Columns:
    ends = [np.nan if one.end is None else (one.end - one.start) / 1000 for one in alarms]
    asked = [np.nan if a.acknowledged is None else (a.acknowledged - a.start) / 1000 for a in alarms]
    return np.array([one.start for one in alarms], np.int64), [
        TextColumn(name="condition", values=[tables.ALARMS[one.row].name for one in alarms]),
        TextColumn(name="priority", values=[tables.PRIORITIES[one.priority] for one in alarms]),
        NumberColumn(name="lasted", unit="s", decimals=1, values=np.array(ends, np.float64)),
        NumberColumn(name="acknowledged after", unit="s", decimals=1, values=np.array(asked, np.float64)),
        TextColumn(name="end seen", values=["no" if one.cut else "yes" for one in alarms]),
    ]


def _mark_columns(reader: Reader, module: int, start: int, end: int) -> Columns:
    marks = notes(reader.marks(module, start, end))
    return np.array([one.utc for one in marks], np.int64), [
        TextColumn(name="category", values=[one.kind for one in marks]),
        TextColumn(name="author", values=[one.author for one in marks], typed=True),
        TextColumn(name="text", values=[one.text for one in marks], typed=True),
    ]


def _hand_columns(reader: Reader, module: int, start: int, end: int) -> Columns:
    """Return what a person read off and typed; it was not measured here."""
    points = hand_points(reader.marks(module, start, end))
    return np.array([one.at_ms for one in points], np.int64), [
        TextColumn(name="entered by hand", values=[one.what.replace("_", " ") for one in points]),
        NumberColumn(
            name="value", unit="", decimals=2, values=np.array([one.value for one in points], np.float64)
        ),
        TextColumn(name="unit", values=[ENTRIES[one.what].unit for one in points]),
        TextColumn(name="author", values=[one.author for one in points], typed=True),
    ]


def edf_of(
    reader: Reader, module: Module, night: Night, *, strip: bool, shift_ms: int = 0, name: str | None = None
) -> bytes:
    """Return waveform and trends of a night as EDF+; alarms, marks and hand entries as annotations.

    `shift_ms` is added to every time; `name` stands in place of the module's number.
    """
    start, end = night.first, night.last
    found = reader.trends(module.id, start, end, ["supply_in", "supply_out", "oxygen"])
    wave = reader.wave(module.id, start, end)
    marks = [
        *_alarm_marks(reader.alarms(module.id, start, end)), *_typed_marks(reader, module.id, start, end)
    ]  # fmt: skip
    return edf_bytes(
        start_ms=start + shift_ms,
        tracks=[
            EdfTrack(
                label="circuit pressure", unit="cmH2O", rate_hz=WAVE_HZ, resolution=0.01,
                values=_placed(wave.t, wave.value, start, end, STEP_MS),
            ),
            *(
                EdfTrack(
                    label=label, unit=unit, rate_hz=1, resolution=resolution,
                    values=_placed(found.t, found.mean[name], start, end, 1000),
                )
                for name, label, unit, resolution in (
                    ("oxygen", "source oxygen", "%", 0.01),
                    ("supply_in", "supply in", "V", 0.05),
                    ("supply_out", "supply out", "V", 0.05),
                )
            ),
        ],
        marks=[replace(one, at_ms=one.at_ms + shift_ms) for one in marks],
        emulated=module.emulated, module=name or f"{module.id:08x}",
        missing_category="not recorded", strip=strip,
    )  # fmt: skip


def _placed(
    t: NDArray[np.int64], values: NDArray[np.float64], start: int, end: int, step_ms: int
) -> NDArray[np.float64]:
    """Put samples where their time is; what was not recorded stays NaN."""
    out = np.full(-(-(end - start) // step_ms), np.nan)
    index = (t - start) // step_ms
    inside = (index >= 0) & (index < out.size)
    out[index[inside]] = values[inside]
    return out


def _alarm_marks(alarms: Sequence[AlarmInterval]) -> list[Mark]:
    return [
        Mark(
            at_ms=one.start, seconds=None if one.end is None else (one.end - one.start) / 1000,
            category=f"alarm {tables.PRIORITIES[one.priority]}: {tables.ALARMS[one.row].name}",
        )
        for one in alarms
    ]  # fmt: skip


def _typed_marks(reader: Reader, module: int, start: int, end: int) -> list[Mark]:
    marks = reader.marks(module, start, end)
    by_hand = [
        Mark(
            at_ms=one.at_ms, seconds=None,
            category=f"entered by hand: {one.what.replace('_', ' ')} {one.text}",
        )
        for one in hand_points(marks)
    ]  # fmt: skip
    return by_hand + [
        Mark(
            at_ms=one.utc, seconds=None if one.utc_end is None else (one.utc_end - one.utc) / 1000,
            category=f"mark: {one.kind}", typed=f"{one.text} ({one.author})",
        )
        for one in notes(marks)
    ]  # fmt: skip


def fhir_of(reader: Reader, module: Module, night: Night, *, strip: bool) -> bytes:
    """Return hourly medians of breathing, and hourly means of purity and supply, as FHIR Observations.

    An hour without a value is an Observation that says so. Purity counts only while its reading was current.
    """
    start, end = night.first, night.last
    hours = night_hours(start, end, UTC)
    table = breathing.breath_table(reader.breaths(module.id, start, end))
    watched = [(one.start, one.end) for one in reader.monitored(module.id, start, end)]
    kinds = {"peak": "peak", "mean": "mean", "end_expiratory": "end_expiratory", "plateau": "plateau",
             "rate_min": "rate"}  # fmt: skip
    out = [
        Measurement(
            kind=kinds[one.measure], at_ms=row.hour.start_ms, end_ms=row.hour.end_ms, value=one.median
        )
        for row in hourly(table, hours, watched)
        for one in row.measures
        if one.measure in kinds
    ]
    found = reader.trends(module.id, start, end, ["oxygen", "supply_in", "supply_out"])
    purity = found.mean["oxygen"].copy()
    for band in reader.bands(module.id, start, end, "oxygen_state"):
        if tables.OXYGEN_STATES[band.code] in PURITY_NOT_CURRENT:
            purity[slice(*np.searchsorted(found.t, (band.start, band.end)))] = np.nan
    for kind, values in (
        ("source_oxygen_purity", purity), ("supply_in", found.mean["supply_in"]),
        ("supply_out", found.mean["supply_out"]),
    ):  # fmt: skip
        for hour in hours:
            part = values[slice(*np.searchsorted(found.t, (hour.start_ms, hour.end_ms)))]
            known = part[~np.isnan(part)]
            value = float(known.mean()) if known.size else None
            out.append(Measurement(kind=kind, at_ms=hour.start_ms, end_ms=hour.end_ms, value=value))
    out += [
        Measurement(kind=one.what, at_ms=one.at_ms, end_ms=None, value=one.value)
        for one in hand_points(reader.marks(module.id, start, end))
        if one.what in BY_HAND
    ]
    return fhir_ndjson(out, module=f"{module.id:08x}", emulated=module.emulated, strip=strip)
