"""Seal a case, or the minutes around an event, into one file that anybody can read and check.

A ZIP of CSV, EDF+, JSON and text. `SHA256SUMS` names every other file as `sha256sum -c` expects it, and its
own SHA-256 is the total hash: written down elsewhere, it proves that nothing was changed since. Contents are
stored, not compressed, with one fixed date, so that the same record gives the same bytes anywhere.

De-identified unless asked otherwise: nothing that people typed, no site, bed, module or name; the first day
becomes 2000-01-01, while time of day and all distances stay.
"""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC
from typing import Any, Final

import numpy as np

from firmware_sim.contract import settings as s
from ingest.analysis.cases import KIND, Case, cases
from ingest.analysis.night_clock import local_time
from ingest.errors import UserError
from ingest.exports.csv_table import NumberColumn, csv_bytes
from ingest.exports.recorded import csv_tables, edf_of
from ingest.store.reader import AlarmTransition, Module, Night, Reader, tables

FORMAT: Final = "nightkeel sealed case 1"
SUMS: Final = "SHA256SUMS"
AROUND_MS: Final = 10 * 60_000
# The waveform is in the EDF+ always, as CSV only where it stays readable.
WAVE_CSV_MS_MAX: Final = 30 * 60_000
DAY_MS: Final = 86_400_000
YEAR_2000_MS: Final = 946_684_800_000
ZIP_DATE: Final = (1980, 1, 1, 0, 0, 0)
COMMAND_NAMES: Final = {code: name for name, code in tables.COMMANDS.items()}
FILES_MAX, BYTES_MAX = 100, 2_000_000_000

README: Final = """\
{simulated}SEALED CASE / DOSSIER SCELLÉ

What this is. The record of one bed between two times: {what}. From a research and prototyping tool, not a
medical device. {identity}

How to read it. *.csv are tables with the unit in the header; record.edf is EDF+ (waveform at 100 samples a
second, trends, alarms and notes as annotations); case.json holds the limits in force, alarms step by step,
commands, and what was not recorded. Times are UTC.

What it does not hold. Inspired oxygen, SpO2, CO2 and volume are not measured; what stands in
hand_entries.csv was read off and typed by a person. Oxygen is the purity at the source. A quiet pressure
trace does not prove ventilation.

How to check it. Unpack it and run:  sha256sum -c SHA256SUMS   The SHA-256 of the file SHA256SUMS itself is
the total hash; compare it with the one that was written down when this file was made.

Ce que c'est. L'enregistrement d'un lit entre deux heures. D'un outil de recherche, pas un dispositif médical.
Les temps sont en UTC. FiO2, SpO2, CO2 et volumes ne sont pas mesurés ; hand_entries.csv a été saisi à la
main.
Pour vérifier : sha256sum -c SHA256SUMS ; l'empreinte SHA-256 de SHA256SUMS est l'empreinte totale.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """Hold what a sealed file says of itself: total hash, how many files, whether SIMULATED, its manifest."""

    total: str
    files: int
    simulated: bool
    manifest: Mapping[str, Any]


def seal(
    reader: Reader, module: Module, night: Night, *, case: Case | None = None, identified: bool = False
) -> tuple[bytes, str]:
    """Return the sealed file of a stretch of time, and its total hash."""
    shift = 0 if identified else YEAR_2000_MS - night.first // DAY_MS * DAY_MS
    what = "around an event" if case is None else f"case {case.number}"
    content: dict[str, bytes] = {
        f"{name}.csv": table
        for name, table in csv_tables(
            reader, module, night, zone=UTC, strip=not identified, shift_ms=shift
        ).items()
    }
    if night.last - night.first <= WAVE_CSV_MS_MAX:
        content["wave.csv"] = _wave(reader, module, night, shift)
    content["record.edf"] = edf_of(
        reader, module, night, strip=not identified, shift_ms=shift, name=None if identified else "module"
    )
    content["case.json"] = _json(_case(reader, module, night, case, shift, identified=identified))
    identity = "It names people and places." if identified else (
        "It is de-identified: nothing typed, no names, places or numbers of devices; the first day is "
        "2000-01-01."
    )
    content["README.txt"] = README.format(
        simulated="SIMULATED. From an emulated module, not from a patient.\n\n" if module.emulated else "",
        what=what, identity=identity,
    ).encode()  # fmt: skip
    content["manifest.json"] = _json(
        {
            "format": FORMAT, "simulated": module.emulated, "identified": identified, "what": what,
            "from": _instant(night.first + shift), "to": _instant(night.last + shift), "times": "UTC",
            "files": {name: {"bytes": len(data), "sha256": _sha(data)} for name, data in content.items()},
        }
    )  # fmt: skip
    sums = "".join(f"{_sha(content[name])}  {name}\n" for name in sorted(content)).encode()
    return _zip({SUMS: sums, **content}), _sha(sums)


def check(data: bytes, total: str | None = None) -> Checked:
    """Return what a sealed file holds; raise UserError at the first thing that isn't as it was sealed."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            infos = packed.infolist()
            if len(infos) > FILES_MAX or sum(one.file_size for one in infos) > BYTES_MAX:
                raise UserError("This is no sealed case: it holds too much.")
            found = {one.filename: packed.read(one) for one in infos}
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError) as error:
        raise UserError(f"This is no sealed case, or it is damaged: {error}.") from None
    if SUMS not in found:
        raise UserError(f"This is no sealed case: it holds no {SUMS}.")
    sums = found.pop(SUMS)
    named = _named(sums)
    for name in sorted(set(named) | set(found)):
        if name not in found:
            raise UserError(f"{name} was sealed and is missing.")
        if name not in named:
            raise UserError(f"{name} was added after sealing.")
        if _sha(found[name]) != named[name]:
            raise UserError(f"{name} was changed after sealing.")
    sealed = _sha(sums)
    if total is not None and total.strip().lower() != sealed:
        raise UserError(f"The total hash is {sealed}, not the one that was written down.")
    manifest = json.loads(found.get("manifest.json", b"{}"))
    if manifest.get("format") != FORMAT:
        raise UserError(f"This is no sealed case: its manifest does not say {FORMAT!r}.")
    return Checked(
        total=sealed, files=len(found), simulated=bool(manifest.get("simulated")), manifest=manifest
    )


def _named(sums: bytes) -> dict[str, str]:
    try:
        rows = [line.split("  ", 1) for line in sums.decode("utf-8").splitlines()]
        return {name: digest for digest, name in rows}
    except ValueError:
        raise UserError(f"{SUMS} is damaged.") from None


def _zip(content: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as packed:
        for name in sorted(content):
            info = zipfile.ZipInfo(name, ZIP_DATE)
            info.create_system, info.external_attr = 3, 0o644 << 16
            packed.writestr(info, content[name])
    return out.getvalue()


def _wave(reader: Reader, module: Module, night: Night, shift: int) -> bytes:
    found = reader.wave(module.id, night.first, night.last)
    return csv_bytes(
        times_ms=found.t + shift, zone=UTC, emulated=module.emulated,
        columns=[
            NumberColumn(
                name="circuit pressure", unit="cmH2O", decimals=2, values=found.value.astype(np.float64)
            )
        ],
    )  # fmt: skip


def _case(
    reader: Reader, module: Module, night: Night, case: Case | None, shift: int, *, identified: bool
) -> dict[str, Any]:
    """Return what tables can't say: limits in force, alarms step by step, commands, gaps."""
    start, end = night.first, night.last

    def at(utc_ms: int) -> str:
        return _instant(utc_ms + shift)

    found = case or next(
        (one for one in cases(reader.marks(module.id, kind=KIND)) if one.start <= start < one.until(end)),
        None,
    )  # fmt: skip
    out: dict[str, Any] = {
        "origin": "SIMULATED" if module.emulated else "real module",
        "case": None if found is None else _plain(found, at, identified=identified),
        "nominal_voltage_v": module.nominal_v,
        "nominal_frequency_hz": module.nominal_hz,
        "settings": _settings(reader, module, start, end, at),
        "alarm_transitions": [
            {"at": at(one.t), **_transition(one)} for one in reader.alarm_transitions(module.id, start, end)
        ],
        "commands": [
            {
                "at": at(one.utc), "command": COMMAND_NAMES.get(one.command, str(one.command)),
                "result": None if one.result is None else tables.COMMAND_RESULTS[one.result],
                **({"operator": one.operator, "reason": one.reason} if identified else {}),
            }
            for one in reader.host_commands(module.id)
            if start <= one.utc < end
        ],
        "not_recorded": [
            {"from": at(one.start), "to": at(one.end)} for one in reader.unmonitored(module.id, start, end)
        ],
        "records_lost": [
            {"from": at(one.start), "to": at(one.end), "reason": one.reason}
            for one in reader.gaps(module.id, start, end)
        ],
    }  # fmt: skip
    if identified:
        out["module"] = {"number": f"{module.id:08x}", "site": module.site, "bed": module.bed}
    return out


def _transition(one: AlarmTransition) -> dict[str, Any]:
    row = tables.ALARMS[one.row]
    value, limit = (
        None if row.limit is None or steps is None else steps / row.scale for steps in (one.value, one.limit)
    )
    return {
        "alarm": row.name, "transition": tables.TRANSITIONS[one.transition], "value": value, "limit": limit,
        "unit": row.unit,
    }  # fmt: skip


def _plain(case: Case, at: Any, *, identified: bool) -> dict[str, Any]:
    out = {
        "number": case.number, "start": at(case.start), "end": None if case.end is None else at(case.end),
        "mode": case.mode, "preset": case.preset,
    }  # fmt: skip
    return out | ({"label": case.label, "author": case.author} if identified else {})


def _settings(reader: Reader, module: Module, start: int, end: int, at: Any) -> list[dict[str, Any]]:
    """Return each set that was in force, oldest first; what belongs to the device is left out."""
    history = [one for one in reader.settings_history(module.id) if one.since < end]
    first = max((place for place, one in enumerate(history) if one.since <= start), default=0)
    return [
        {
            "since": at(max(one.since, start)),
            "values": {
                row.name: s.in_units(row.id, one.values[row.id]).strip()
                for row in s.SETTINGS
                if row.id < len(one.values) and not row.name.startswith("calibration.")
                and not row.name.endswith("_day")
            },
        }
        for one in history[first:]
    ]  # fmt: skip


def _json(value: Any) -> bytes:
    return (json.dumps(value, indent=1, sort_keys=True, ensure_ascii=False) + "\n").encode()


def _sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _instant(utc_ms: int) -> str:
    return local_time(utc_ms, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
