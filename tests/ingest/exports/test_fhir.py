"""FHIR: validated by the R4B models of `fhir.resources`, units by `ucumvert`, codes by their check digits."""

import json

import pytest
from fhir.resources.R4B.observation import Observation
from ucumvert import PintUcumRegistry

from ingest.exports.fhir import CODES, IEEE_11073, LOINC, Measurement, fhir_ndjson

AT_MS = 1_790_000_000_123
ALL = [Measurement(kind=kind, at_ms=AT_MS, end_ms=AT_MS + 60_000, value=12.345) for kind in CODES]


def _lines(measurements=ALL, **changes) -> list[dict]:
    given = {"module": "bed 3", "emulated": True, "case_label": "case 12", "strip": False}
    return [json.loads(line) for line in fhir_ndjson(measurements, **(given | changes)).splitlines()]


@pytest.mark.parametrize("value", [12.345, None, 0.0])
@pytest.mark.parametrize("end_ms", [None, AT_MS + 1000])
def test_every_kind_is_a_valid_observation(value, end_ms) -> None:
    many = [Measurement(kind=kind, at_ms=AT_MS, end_ms=end_ms, value=value) for kind in CODES]
    for line in _lines(many):
        model = Observation.model_validate(line)
        assert model.status == "final"
        assert (model.valueQuantity is None) == (value is None) == (model.dataAbsentReason is not None)


def test_the_model_would_catch_a_wrong_observation() -> None:
    broken = _lines()[0] | {"status": "certain"}
    del broken["code"]
    with pytest.raises(ValueError, match="code"):
        Observation.model_validate(broken)


def test_codes_of_the_published_lists() -> None:
    # LOINC and IEEE 11073-10101 numbers: published lists; 152424 unconfirmed.
    found = {
        line["id"].rsplit("-", 3)[0]: {c["code"] for c in line["code"]["coding"]} for line in _lines()
    }
    assert found["peak"] == {"76531-3", "151973"}
    assert found["mean"] == {"76530-5"}  # 151975 would be the mean INSPIRATORY pressure
    assert found["end-expiratory"] == {"76248-4", "151976"}
    assert found["plateau"] == {"76259-1", "152424"}
    assert found["rate"] == {"33438-3", "151586"}
    plateau = next(line for line in _lines() if line["id"].startswith("plateau"))
    versions = {c["code"]: c.get("version") for c in plateau["code"]["coding"]}
    assert versions == {"76259-1": None, "152424": "unconfirmed"}


def test_source_purity_is_never_inspired_or_delivered_oxygen() -> None:
    (line,) = [line for line in _lines() if line["id"].startswith("source-oxygen-purity")]
    assert [c["code"] for c in line["code"]["coding"]] == ["source-oxygen-purity"]
    text = json.dumps(_lines())
    # 153144 is delivered oxygen (IEEE 11073-10101); 3150-6 and 19994-3 inspired oxygen (LOINC, from memory).
    for code in ("153144", "3150-6", "19994-3", "FiO2", "FIO2"):
        assert code not in text


def test_loinc_check_digits_hold() -> None:
    # LOINC check digit: the Luhn sum (definition of the code).
    codes = [code for row in CODES.values() for system, code, _ in row.codings if system == LOINC]
    assert len(codes) == 7
    for code in codes:
        digits = [int(sign) for sign in reversed(code.replace("-", ""))]
        luhn = sum(d if i % 2 == 0 else sum(divmod(2 * d, 10)) for i, d in enumerate(digits))
        assert luhn % 10 == 0, code


def test_units_are_ucum_and_mean_what_they_say() -> None:
    ucum = PintUcumRegistry()
    for row in CODES.values():
        assert ucum.from_ucum(row.ucum) is not None
    # 1 cmH2O is 98.0665 Pa (conventional value, definition).
    assert ucum.from_ucum(CODES["peak"].ucum).to("Pa").magnitude == pytest.approx(98.0665, rel=1e-4)
    rows = [row for code in CODES.values() for row in code.codings]
    assert all(code.isdigit() for system, code, _ in rows if system == IEEE_11073)


def test_emulated_data_say_so_and_typed_text_can_be_stripped() -> None:
    for line in _lines():
        assert {tag["code"] for tag in line["meta"]["tag"]} == {"HTEST", "SIMULATED"}
        assert line["subject"] == {"display": "case 12"}
    for line in _lines(emulated=False, strip=True):
        assert "meta" not in line and "subject" not in line
        if line["id"].startswith(("spo2", "pulse")):
            # Nothing of ours measured it.
            assert line["method"] == {"text": "entered by hand"} and "device" not in line
        else:
            assert "emulated" not in line["device"]["display"] and "method" not in line


def test_times_are_utc_to_the_millisecond_and_ids_repeat() -> None:
    first = _lines()[0]
    assert first["effectivePeriod"]["start"] == "2026-09-21T14:13:20.123Z"
    assert [line["id"] for line in _lines()] == [line["id"] for line in _lines()]
    assert len({line["id"] for line in _lines()}) == len(CODES)
