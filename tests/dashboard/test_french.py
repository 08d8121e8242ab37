"""The second language is whole: the same keys and places, and nothing left in English unnoticed."""

import re
import string
from dataclasses import replace

import pytest

from dashboard.formats import number
from dashboard.links import parse
from dashboard.morning import read_morning
from dashboard.pages import load, now
from dashboard.phrases import text
from dashboard.queries import choose_module, chosen_night, nights, reading
from dashboard.texts import CATALOGUES, Words, english, french
from ingest.analysis.breathing import model, table_signs, trends, wave_signs
from ingest.analysis.breathing import night as breathing_night
from ingest.analysis.burden import REFERENCES
from ingest.analysis.notes import NOTES
from ingest.analysis.refusal import SENTENCES
from ingest.analysis.reserves import battery, cascade, cylinder, mixture
from ingest.analysis.summary import PHRASES, Phrase
from ingest.store.reader import tables
from tests.dashboard.conftest import spoken

# Written the same in both languages: names, units, symbols, places alone, and words that both have.
ALIKE = {
    "app.title", "app.nav", "theme.name", "module.name", "module.number", "data", "span.seconds",
    "span.minutes", "span.hours", "unit.V", "unit.percent", "unit.cmH2O", "unit.hPa", "unit.mbar",
    "unit.per_minute", "time.day", "now.mode", "night.entry", "night.column.what", "list.join",
    "summary.what.spo2", "summary.what.co2", "summary.what.volume", "burden.condition", "burden.times",
    "mark.kind.note", "choice.language.en", "choice.language.fr", "handover.where", "handover.notes",
    "reserves.unit.bar", "reserves.unit.kPa", "reserves.unit.psi", "supply.compare.module",
    "supply.point", "supply.value", "case.with", "entry.agent_level", "entry.spo2", "entry.value",
    "entry.bare", "agent.name.halothane", "evidence.frequency_now", "setup.at", "setup.figure",
    "sheet.title", "sheet.where", "upkeep.hours", "agent.name.isoflurane", "label.line",
    "exposure.litres", "exposure.millilitres",
    "study.length.ms", "study.length.s", "bench.coefficients", "bench.module", "bench.ms", "bench.shown",
}  # fmt: skip
# What stands in tables for other programs is the same whatever the report speaks.
ENGLISH_ONLY = ("study.data.", "study.package")
ANALYSES = (model, table_signs, trends, wave_signs, breathing_night, battery, cascade, cylinder, mixture)
KEYED = (
    "finding.", "pressure_cannot_tell.", "rung.", "hand.", "battery.", "cylinder.", "cascade.", "lengthen.",
    "mixture.",
)  # fmt: skip


def places(said):
    return sorted(field for _, field, _, _ in string.Formatter().parse(said) if field)


def test_every_english_key_has_french():
    missing = {key for key in set(english.TEXTS) - set(french.TEXTS) if not key.startswith(ENGLISH_ONLY)}
    assert sorted(missing) == []
    assert sorted(set(french.TEXTS) - set(english.TEXTS)) == []


def test_places_are_the_same():
    wrong = [k for k, said in french.TEXTS.items() if places(said) != places(english.TEXTS[k])]
    assert wrong == []


def test_nothing_is_left_in_english():
    same = {key for key, said in french.TEXTS.items() if said == english.TEXTS.get(key)}
    assert sorted(same - ALIKE) == []
    assert sorted(ALIKE - same) == [], "words of the list that are no longer alike"


def named_keys(module):
    """Return the text keys written in an analysis, by reading its constants as Python holds them."""
    found = set()
    codes = [module.__dict__[n].__code__ for n in dir(module) if hasattr(module.__dict__.get(n), "__code__")]
    while codes:
        for one in codes.pop().co_consts:
            if hasattr(one, "co_consts"):
                codes.append(one)
            elif isinstance(one, tuple):
                found |= {part for part in one if isinstance(part, str)}
            elif isinstance(one, str):
                found.add(one)
    return {key for key in found if key.startswith(KEYED) and " " not in key and len(key.split(".")) == 2}


@pytest.mark.parametrize("language", sorted(CATALOGUES))
def test_every_key_of_the_analyses_can_be_said(language):
    words = Words(language)
    keys = {*NOTES, *SENTENCES, *model.CANNOT_TELL, *(row.key for row in REFERENCES)}
    for module in ANALYSES:
        keys |= named_keys(module)
    assert len(keys) > 60
    assert sorted(key for key in keys if not words.has(key) and not is_setting(key)) == []


def is_setting(key):
    """Tell whether a key is a module's setting, which shares a first word with the reserves."""
    return key in tables.SETTINGS


SAMPLE = {"what": "alarms_per_hour", "finding": "finding.leak", "note": "note.taps_swapped"}


@pytest.mark.parametrize("language", sorted(CATALOGUES))
@pytest.mark.parametrize("key", sorted(PHRASES))
@pytest.mark.parametrize("n", [1, 3])
def test_every_phrase_can_be_said(language, key, n):
    params = {name: SAMPLE.get(name, n) for name in PHRASES[key]}
    if key == "summary.not_measured":
        params["what"] = ("inspired_oxygen", "spo2", "co2", "volume")
    if key == "summary.due":
        params["what"] = "due.clock"
    said = text(Phrase(key=key, params=params), Words(language))
    assert said
    assert "{" not in said


@pytest.mark.parametrize(
    ("given", "shown"),
    [("12.5 … 13.0 V", "12,5 … 13,0 V"), ("−0.35 %", "−0,35 %"), ("0.1.0 127.0.0.1", "0.1.0 127.0.0.1"),
     ("2026-03-01T20:00:00.123Z", "2026-03-01T20:00:00.123Z"), ("night.db", "night.db")],
)  # fmt: skip
def test_a_decimal_comma_is_put_in_numbers_alone(given, shown):
    """A comma is the decimal sign of French text (ISO 80000-1, from memory)."""
    assert Words("fr").decimals(given) == shown
    assert Words("en").decimals(given) == given


def test_numbers_within_texts_get_the_comma_and_what_a_person_typed_does_not():
    words = Words("fr")
    assert words("time.day", date="2.5", clock=number(2.5, 1)).split() == ["2.5", "2,5"]
    assert words("data", text="2.5 mg") == "2.5 mg"


def test_no_decimal_point_is_left_on_the_pages(settings, view):
    french_view = replace(view, words=Words("fr"))
    with reading(settings.store) as reader:
        module = choose_module(reader, None)
        night_of = chosen_night(nights(reader, module.id, 0), parse(""))
        morning = read_morning(reader, module, night_of)
    shown = [text(one, french_view.words) for one in morning.phrases]
    shown += spoken(load.sections(morning, "/night", french_view))
    shown += spoken(now.page(settings, french_view, ""))
    assert any(re.search(r"\d,\d", one) for one in shown)
    assert [one for one in shown if re.search(r"(?<![-\d.])\d+\.\d+(?![\d.])", one)] == []


def test_french_names_fit_their_lanes():
    words = Words("fr")
    assert max(len(words(row.key)) for row in tables.ALARMS) <= 32
