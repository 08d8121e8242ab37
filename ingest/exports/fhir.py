"""Write measurements as FHIR Observations, one a line (NDJSON).

Shape: HL7 FHIR R4 (4.0.1) Observation; tests validate with R4B (4.3.0) models, for no R4 models are at hand.
The elements used here are the same in both (from memory); R4B differs elsewhere (evidence, medication
definition, …). What is measured at the source is source oxygen purity: it has a local code and never one for
inspired or delivered oxygen.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC
from types import MappingProxyType
from typing import Final

from ingest.analysis.night_clock import local_time

LOINC: Final = "http://loinc.org"
IEEE_11073: Final = "urn:iso:std:iso:11073:10101"
UCUM: Final = "http://unitsofmeasure.org"
LOCAL: Final = "https://nightkeel.invalid/fhir/CodeSystem/measurement"  # a name; it resolves nowhere
TEST_DATA: Final = ("http://terminology.hl7.org/CodeSystem/v3-ActReason", "HTEST")
ABSENT: Final = "http://terminology.hl7.org/CodeSystem/data-absent-reason"


@dataclass(frozen=True, slots=True, kw_only=True)
class Code:
    """Hold one measurement's codes: plain words, codings (system, code, version or None), unit and UCUM."""

    words: str
    codings: tuple[tuple[str, str, str | None], ...]
    unit: str
    ucum: str
    decimals: int


# LOINC and IEEE 11073-10101 numbers: published lists. 151975 is the mean INSPIRATORY pressure, so the mean
# has no 11073 code here. 152424 is unconfirmed and says so in its version.
CODES: Final[Mapping[str, Code]] = MappingProxyType(
    {
        "peak": Code(
            words="peak circuit pressure",
            codings=((LOINC, "76531-3", None), (IEEE_11073, "151973", None)),
            unit="cmH2O", ucum="cm[H2O]", decimals=2,
        ),
        "mean": Code(
            words="mean circuit pressure", codings=((LOINC, "76530-5", None),),
            unit="cmH2O", ucum="cm[H2O]", decimals=2,
        ),
        "end_expiratory": Code(
            words="end-expiratory circuit pressure",
            codings=((LOINC, "76248-4", None), (IEEE_11073, "151976", None)),
            unit="cmH2O", ucum="cm[H2O]", decimals=2,
        ),
        "plateau": Code(
            words="plateau circuit pressure",
            codings=((LOINC, "76259-1", None), (IEEE_11073, "152424", "unconfirmed")),
            unit="cmH2O", ucum="cm[H2O]", decimals=2,
        ),
        "rate": Code(
            words="breaths a minute by circuit pressure",
            codings=((LOINC, "33438-3", None), (IEEE_11073, "151586", None)),
            unit="/min", ucum="/min", decimals=1,
        ),
        "source_oxygen_purity": Code(
            words="source oxygen purity, measured at the source, not inspired",
            codings=((LOCAL, "source-oxygen-purity", None),), unit="%", ucum="%", decimals=1,
        ),
        "supply_in": Code(
            words="supply voltage before the UPS", codings=((LOCAL, "supply-voltage-in", None),),
            unit="V", ucum="V", decimals=1,
        ),
        "supply_out": Code(
            words="supply voltage after the UPS", codings=((LOCAL, "supply-voltage-out", None),),
            unit="V", ucum="V", decimals=1,
        ),
        # LOINC of the two that people read off: from memory, their check digits hold.
        "spo2": Code(
            words="oxygen saturation by pulse oximetry, entered by hand",
            codings=((LOINC, "59408-5", None),), unit="%", ucum="%", decimals=0,
        ),
        "pulse": Code(
            words="heart rate, entered by hand", codings=((LOINC, "8867-4", None),),
            unit="/min", ucum="/min", decimals=0,
        ),
    }
)  # fmt: skip


# What a person typed: no device of ours measured it.
BY_HAND: Final = ("spo2", "pulse")


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """Hold one value: kind (a key of CODES), UTC ms, end of its span (None: a moment), None if absent."""

    kind: str
    at_ms: int
    end_ms: int | None
    value: float | None


def fhir_ndjson(
    measurements: Iterable[Measurement],
    *,
    module: str,
    emulated: bool,
    case_label: str | None = None,
    strip: bool = True,
) -> bytes:
    """Return one Observation a line. `strip` leaves out the case label, the only thing a person typed.

    Emulated data carry the tags HTEST (test health data) and SIMULATED.
    """
    label = None if strip else case_label
    lines = (
        json.dumps(observation(one, module=module, emulated=emulated, case_label=label), ensure_ascii=False)
        for one in measurements
    )
    return "".join(f"{line}\n" for line in lines).encode()


def observation(
    one: Measurement, *, module: str, emulated: bool, case_label: str | None = None
) -> dict[str, object]:
    """Return one Observation as plain data; its id is kind, time and module, so a repeat is the same."""
    code = CODES[one.kind]
    found: dict[str, object] = {
        "resourceType": "Observation",
        "id": f"{one.kind.replace('_', '-')}-{one.at_ms}-{_id_part(module)}"[:64],
        "status": "final",
        "code": {"coding": [_coding(*row) for row in code.codings], "text": code.words},
    }
    if one.kind in BY_HAND:
        found["method"] = {"text": "entered by hand"}
    else:
        found["device"] = {"display": f"nightkeel module {module}" + (" (emulated)" if emulated else "")}
    if emulated:
        found["meta"] = {
            "tag": [{"system": TEST_DATA[0], "code": TEST_DATA[1]}, {"system": LOCAL, "code": "SIMULATED"}]
        }
    if case_label:
        found["subject"] = {"display": case_label}
    if one.end_ms is None:
        found["effectiveDateTime"] = _instant(one.at_ms)
    else:
        found["effectivePeriod"] = {"start": _instant(one.at_ms), "end": _instant(one.end_ms)}
    if one.value is None:
        found["dataAbsentReason"] = {"coding": [{"system": ABSENT, "code": "unknown"}]}
    else:
        found["valueQuantity"] = {
            "value": round(one.value, code.decimals), "unit": code.unit, "system": UCUM, "code": code.ucum
        }  # fmt: skip
    return found


def _coding(system: str, code: str, version: str | None) -> dict[str, str]:
    return {"system": system, "code": code} | ({"version": version} if version else {})


def _instant(at_ms: int) -> str:
    return local_time(at_ms, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _id_part(text: str) -> str:
    return "".join(sign if sign.isascii() and sign.isalnum() else "-" for sign in text)
