"""A short invented night, a view, and ways to look into pages and figures."""

import re
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from dashboard.settings import Settings
from dashboard.texts import CATALOGUES, Words
from dashboard.view import View
from tests.support.night_store import write_night
from tests.support.shared import once

START = 1_772_308_800_000  # 2026-02-28 20:00 UTC
HOURS = 8


@pytest.fixture(scope="session")
def store(tmp_path_factory) -> Path:
    """Eight hours that hold every part of the story once."""
    return once(tmp_path_factory, "eight-hours.db", lambda path: write_night(path, START, HOURS))


@pytest.fixture
def settings(store) -> Settings:
    """Pages over that night, two seconds after its last record."""
    return Settings(store=store, clock=lambda: START + HOURS * 3_600_000 + 2000)


@pytest.fixture
def view(settings) -> View:
    """An English page in UTC on a wide window."""
    return View(words=Words(), zone=ZoneInfo("UTC"), theme="paper", width=1280, now=settings.clock())


@pytest.fixture
def marked(view) -> View:
    """The same with every text of the catalogue in brackets."""
    words = Words("en", {key: f"⟦{text}⟧" for key, text in CATALOGUES["en"].items()})
    return replace(view, words=words)


SPOKEN = ("children", "title", "alt", "placeholder", "aria-label", "data-hint", "data-text", "data-now")
DRAWN = ("text", "ticktext", "name", "meta")


def spoken(node):
    """Yield every string of a tree of components that a person sees or hears."""
    if isinstance(node, str):
        yield node
    elif isinstance(node, list | tuple):
        for one in node:
            yield from spoken(one)
    elif hasattr(node, "to_plotly_json"):
        props = node.to_plotly_json()["props"]
        for name in SPOKEN:
            yield from spoken(props.get(name))


def drawn(node):
    """Yield every string of a figure that a person sees."""
    if isinstance(node, dict):
        for name, value in node.items():
            if name in DRAWN:
                yield from (re.sub(r"<[^>]*>", "\n", one) for one in _strings(value))
            elif name != "font":
                yield from drawn(value)
    elif isinstance(node, list | tuple):
        for one in node:
            yield from drawn(one)


def _strings(value):
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        yield from _strings(list(value.values()))
    elif isinstance(value, list | tuple):
        for one in value:
            yield from _strings(one)


def said(node) -> str:
    """Return all that a tree of components says, as one line."""
    return " ".join(" ".join(spoken(node)).split())


def find(node, wanted):
    """Yield the components of a tree that `wanted` accepts."""
    if isinstance(node, list | tuple):
        for one in node:
            yield from find(one, wanted)
    elif hasattr(node, "to_plotly_json"):
        if wanted(node):
            yield node
        yield from find(getattr(node, "children", None), wanted)
