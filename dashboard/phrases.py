"""Say the phrases of the morning summary in words; each that has a place in the night leads there."""

import math
from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from dashboard import links
from dashboard.components import link
from dashboard.formats import MINUTE, SECOND, number, span
from dashboard.links import Place
from dashboard.texts import Words
from dashboard.view import View
from ingest.analysis.summary import Phrase, Value

# How a parameter is said, by its name.
IN_MINUTES = ("minutes", "longest_min", "minutes_before")
IN_SECONDS = ("seconds", "longest_s")
ONE_DIGIT = ("per_hour", "lowest_percent", "value", "usual")
# These words are keys of the catalogue themselves.
KEYED = {"finding": "{value}", "note": "{value}", "what": "summary.what.{value}"}


def text(phrase: Phrase, words: Words) -> str:
    """Return one phrase as a sentence."""
    said = {name: _say(name, value, words) for name, value in phrase.params.items()}
    number_of = phrase.params.get("count", phrase.params.get("spans"))
    if isinstance(number_of, int) and words.has(f"{phrase.key}.one"):
        return words(f"{phrase.key}.one" if number_of == 1 else f"{phrase.key}.many", **said)
    return words(phrase.key, **said)


def _say(name: str, value: Value, words: Words) -> str:
    if isinstance(value, tuple):
        return words("list.join").join(_say(name, one, words) for one in value)
    if isinstance(value, str):
        return words(KEYED[name].format(value=value))
    if math.isnan(value):
        return words("summary.unknown")
    if name in IN_MINUTES:
        return span(value * MINUTE, words)
    if name in IN_SECONDS:
        return span(value * SECOND, words)
    return number(value, 1 if name in ONE_DIGIT else 0)


def sentences(phrases: Sequence[Phrase], module: int, night: int, path: str, view: View) -> list[Component]:
    """Return the summary: one list item a phrase, a link where it has a place."""
    items: list[Component] = []
    for phrase in phrases:
        said = text(phrase, view.words)
        if phrase.start_ms is None:
            items.append(html.Li(html.Span(said)))
            continue
        window = links.around(phrase.start_ms, phrase.end_ms, view.now)
        place = Place(module=module, night=night, window=window)
        items.append(html.Li(link(said, links.address(path, place))))
    return items
