"""Every text that is shown comes from the catalogue, and the catalogue knows every name that may come."""

import re
import string
from pathlib import Path

import pytest

import dashboard
from dashboard.app import PAGES, navigation, shell
from dashboard.figures.night import night_figure
from dashboard.pages import night, now
from dashboard.pages.controls import OFFERED
from dashboard.queries import choose_module, night_frame, reading
from dashboard.texts import CATALOGUES, Words
from ingest.store.reader import tables
from tests.dashboard.conftest import HOURS, START, drawn, find, spoken

# What may stand outside the catalogue: numbers, times, shapes; 'UTC' of an offset.
FREE = re.compile(r"UTC")


def strangers(strings):
    """Return what has letters outside the brackets of the marked catalogue."""
    found = []
    for text in strings:
        bare = text
        while "⟦" in bare:
            shorter = re.sub(r"⟦[^⟦⟧]*⟧", "", bare)
            if shorter == bare:
                break
            bare = shorter
        if re.search(r"[^\W\d_]", FREE.sub("", bare)):
            found.append(text)
    return found


def test_the_check_sees_a_stranger():
    assert strangers(["⟦Now ⟦two⟧⟧ 12:30 UTC+01:00", "—", "⟦a⟧ Watch"]) == ["⟦a⟧ Watch"]


def test_now_says_nothing_of_its_own(settings, marked):
    page = now.page(settings, marked, "")
    assert len(list(spoken(page))) > 40
    assert strangers(spoken(page)) == []


def test_night_says_nothing_of_its_own(settings, marked):
    page = night.page(settings, marked, "")
    assert len(list(spoken(page))) > 30
    assert strangers(spoken(page)) == []


@pytest.mark.parametrize("width", [360, 1280])
def test_the_figure_says_nothing_of_its_own(settings, marked, width):
    from dataclasses import replace

    look = night.look_of(replace(marked, width=width))
    with reading(settings.store) as reader:
        module = choose_module(reader, None)
        for end in (START + HOURS * 3_600_000, START + 30_000):
            figure = night_figure(night_frame(reader, module, START, end, 400), look)
            strings = list(drawn(figure))
            assert len(strings) > 8
            assert strangers(strings) == []


def test_the_shell_says_nothing_of_its_own(settings, marked):
    from flask import Flask

    with Flask("test").test_request_context("/"):
        assert strangers(spoken(shell(marked, settings))) == []
    assert len(list(find(navigation("/", marked), lambda one: hasattr(one, "href")))) == len(PAGES)


def test_every_name_of_the_tables_has_a_text():
    words = Words()
    keys = [row.key for row in tables.ALARMS]
    keys += [f"mode.{name}" for name in tables.MODES] + [f"preset.{name}" for name in tables.PRESETS]
    keys += [f"priority.{name}" for name in tables.PRIORITIES if name != "none"]
    keys += [f"now.state.{name}" for name in tables.SUPPLY_STATES]
    keys += [f"state.short.{name}" for name in tables.SUPPLY_STATES]
    keys += [f"now.oxygen.{name}" for name in tables.OXYGEN_STATES]
    keys += [f"sensor.{name}" for name in tables.SENSOR_CONDITIONS if name != "ok"]
    keys += [f"result.{name}" for name in tables.COMMAND_RESULTS]
    keys += [f"control.{name}" for name in OFFERED]
    for key in keys:
        assert words.raw(key), key


def test_alarm_texts_fit_their_lanes():
    words = Words()
    assert max(len(words(row.key)) for row in tables.ALARMS) <= 32


def test_languages_have_the_same_keys_and_places():
    def places(text):
        return sorted(field for _, field, _, _ in string.Formatter().parse(text) if field)

    reference = CATALOGUES["en"]
    for language, texts in CATALOGUES.items():
        assert texts.keys() == reference.keys(), language
        for key, text in texts.items():
            assert places(text) == places(reference[key]), (language, key)


# Keys that are put together from names of the tables.
COMPOSED = (
    "alarm.", "mode.", "preset.", "priority.", "state.short.", "now.state.", "now.oxygen.", "sensor.",
    "result.", "control.", "summary.", "finding.", "note.", "study.", "pressure_cannot_tell.",
    "burden.reference.", "mark.kind.", "exposure.", "choice.language.", "unit.", "refused.", "rung.", "hand.",
    "battery.", "cylinder.", "cascade.", "lengthen.", "mixture.", "handover.lane_", "source.", "setting.",
    "list.name.", "label.", "step.", "guided.", "setup.state.", "evidence.", "part.", "deed.", "due.",
    "wear.", "case.ask.", "quantity.", "agent.", "number.",
)  # fmt: skip


def test_no_text_lies_unused():
    code = "\n".join(
        path.read_text("utf-8").replace("'", '"')
        for pattern in ("*.py", "*.html")
        for path in Path(dashboard.__file__).parent.rglob(pattern)
        if "texts" not in path.parts
    )
    unused = []
    for key in CATALOGUES["en"]:
        stem = re.sub(r"\.(one|many)$", "", key)
        last = key.rsplit(".", 1)[0] + "."
        if f'"{stem}"' not in code and f'"{last}{{' not in code and not key.startswith(COMPOSED):
            unused.append(key)
    assert unused == []
