"""An event of the supply in words, for the page and the report."""

from dashboard.formats import span
from dashboard.texts import Words
from ingest.analysis.supply.records import SupplyEvent


def about_time(seconds: float, words: Words) -> str:
    """Return a length of time in words."""
    return span(seconds * 1000, words)


def length(event: SupplyEvent, words: Words) -> str:
    """Return an event's length, 'at least' where its end was not seen."""
    seconds = event.duration_s
    if seconds < 10:
        text = words("study.length.ms", n=round(seconds * 1000))
    else:
        text = words("study.length.s", n=round(seconds)) if seconds < 600 else about_time(seconds, words)
    return words("study.length.at_least", text=text) if event.still_open else text
