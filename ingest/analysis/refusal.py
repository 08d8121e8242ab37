"""Refuse nonsense with one clear sentence: a text key, its parameters, and the English of the key."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from ingest.errors import UserError

SENTENCES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "refused.not_a_number": (
            "{quantity}: {given} is not a number; give one between {low:g} and {high:g} {unit}."
        ),
        "refused.out_of_bounds": (
            "{quantity}: {given:g} {given_unit} is outside {low:g} to {high:g} {given_unit}; "
            "check the reading and its unit."
        ),
        "refused.negative": "{quantity}: {given:g} {given_unit} is negative; give {low:g} or more.",
        "refused.unknown_unit": "{quantity}: unit {unit} is not known here; use one of {known}.",
        "refused.unknown_size": (
            "Cylinder size {size} is not known; use one of {known}, or give the water capacity in litres "
            "that is stamped on the neck."
        ),
        "refused.unknown_agent": "Agent {agent} is not known; use one of {known}.",
        "refused.unknown_chemistry": "Battery type {chemistry} is not known; use one of {known}.",
        "refused.gauge_over_fill": (
            "Gauge {gauge_bar:g} bar is more than a size {size} cylinder is filled to ({fill_bar:g} bar) "
            "by over a quarter; check the size, the gauge and its unit."
        ),
        "refused.readings_not_in_order": (
            "The second gauge reading is not later than the first; give the earlier reading first."
        ),
        "refused.gauge_rose": (
            "The gauge rose from {first_bar:g} to {second_bar:g} bar between the readings; a cylinder in use "
            "can't fill itself: read both again."
        ),
        "refused.edf_year": (
            "EDF+ can't hold the year {year} ({first} to {last} only): correct the date of the session first."
        ),
        "refused.nothing_to_export": "There is nothing to export: the chosen span holds no samples.",
    }
)


class Refused(UserError):
    """Say that an input makes no sense: `key` and `params` for a catalogue, `str()` for a terminal."""

    def __init__(self, key: str, **params: object) -> None:
        self.key = key
        self.params: Mapping[str, object] = MappingProxyType(params)
        super().__init__(SENTENCES[key].format_map(params))
