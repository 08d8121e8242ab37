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
        "refused.no_list": "There is no check list {given}; there are {known}.",
        "refused.not_begun": "That list has not been begun; begin it first.",
        "refused.no_step": "There is no step {given} in this list; there are {known}.",
        "refused.step_open": "Another step is open; wait for its result, or leave it first.",
        "refused.no_open_step": "No step is open; begin one first.",
        "refused.breath_seen": (
            "A breath was seen in the last 60 s; take the patient off the circuit, wait a minute, then begin."
        ),
        "refused.patient_on": (
            "A patient may depend on this supply (a breath in the last minute, or the mode is not standby): "
            "set standby with nobody on, or confirm that a second source stands ready."
        ),
        "refused.not_normal": "The UPS is not proven in normal mode; bring it there, then begin again.",
        "refused.button_first": "The module wants its own button pressed first; press it, then try again.",
        "refused.module": "The module refused: {answer}. Nothing was begun; look at the module.",
        "refused.measured_only": "Only the module decides this step; wait for its measurement.",
        "refused.not_yet": "The module has not measured it yet; do what the step says, then confirm.",
        "refused.no_part": "There is no part {given}; there are {known}.",
        "refused.no_deed": "{part}: {given} can't be done to it; choose {known}.",
        "refused.hours_back": (
            "The counter can't go back from {known:g} to {given:g} h; read it again, or enter a changed "
            "concentrator as a note."
        ),
        "refused.hours_missing": "A reading of the counter needs its hours.",
        "refused.first_format": "{where} is no file of first checks; it must say format = \"{format}\".",
        "refused.first_key": "{where} holds {name}, which is not known; known are: {known}.",
        "refused.first_value": "{where}: {name} is missing or not of the right kind; see the file in the "
        "package.",
        "refused.first_deep": "{where}: {name} leads on for more than {depth} levels; cut it short.",
        "refused.edf_year": (
            "EDF+ can't hold the year {year} ({first} to {last} only): correct the date of the session first."
        ),
        "refused.no_such_case": (
            "There is no case {number} of this module; there are {known}. `nightkeel case list` shows them."
        ),
        "refused.case_end": "Case {number} can end only after its start and not later than now.",
        "refused.case_label_long": "The label has {length} letters; {most} are allowed.",
        "refused.case_label_same": "Case {number} is called that already; nothing was changed.",
        "refused.case_open": (
            "Case {number} of this module is still open since {since}; end it before the next one starts."
        ),
        "refused.no_open_case": "No case of this module is open.",
        "refused.infant_not_supplied": (
            "No site has supplied infant values for this module, and nobody guesses them; put the site's "
            "file in force with `nightkeel settings import FILE --infant`, then start the case."
        ),
        "refused.unknown_choice": "{what} {given} is not known; use one of {known}.",
        "refused.nothing_to_export": "There is nothing to export: the chosen span holds no samples.",
    }
)


class Refused(UserError):
    """Say that an input makes no sense: `key` and `params` for a catalogue, `str()` for a terminal."""

    def __init__(self, key: str, **params: object) -> None:
        self.key = key
        self.params: Mapping[str, object] = MappingProxyType(params)
        super().__init__(SENTENCES[key].format_map(params))
