"""English of the morning: summary, findings, alarm load, marks, handover, reserves, refusals."""

from typing import Final

from dashboard.texts.english_reserves import RESERVES
from ingest.analysis.refusal import SENTENCES

_SUMMARY: Final[dict[str, str]] = {
    "compare.title": "Earlier nights",
    "night.column.night": "Night",
    "cannot_tell.title": "What pressure alone can't tell",
    "pressure_cannot_tell.volume": "how much gas moved",
    "pressure_cannot_tell.tube_position": "where the tube lies",
    "pressure_cannot_tell.gas_to_lung": "whether gas reached the lung",
    "pressure_cannot_tell.intrinsic_peep": "pressure trapped in the lung",
    "pressure_cannot_tell.resistance_or_compliance": "resistance apart from stiffness, without a pause",
    "pressure_cannot_tell.kink_behind_limit": "a kink hidden by the pressure limit",
    "pressure_cannot_tell.small_draw_over": "an infant's and many a child's breaths on a draw-over circuit",
}

_BURDEN: Final[dict[str, str]] = {
    "burden.title": "Alarm load",
    "burden.rate": "{per_hour} an hour, {per_day} a day, over {hours} monitored",
    "burden.none": "Nothing was monitored: no rate can be given.",
    "burden.response": "Time to pause or acknowledge: median {median}, nine of ten within {p90} "
    "({count} answered)",
    "burden.no_response": "No alarm was paused or acknowledged.",
    "burden.alone": "Ended by themselves, unanswered: {share} %",
    "burden.quiet": "Longest monitored time without an alarm: {span}",
    "burden.crowds": "Floods (more than ten in ten minutes): {floods}; chatter (three of one in a "
    "minute): {chatter}",
    "burden.condition": "Condition",
    "burden.count": "Times",
    "burden.hour": "An hour",
    "burden.stood": "Stood for",
    "burden.itself": "Ended by itself",
    "burden.published": "Published figure",
    "burden.day": "A day",
    "burden.share": "This night against it",
    "burden.times": "{ratio} ×",
    "burden.reference.icu_observed": "observed in an intensive care unit, 6.07 an hour (Görges et al. 2009)",
    "burden.reference.audible_per_bed": "audible alarms a bed (Drew et al. 2014)",
    "burden.reference.operator_acceptable": "acceptable to a plant operator, not a bed (ISA-18.2, as quoted)",
    "burden.reference.operator_most": "the most for a plant operator, not a bed (ISA-18.2, as quoted)",
    "exposure.title": "Exposure totals",
    "exposure.purity": "Source purity under {limit} %",
    "exposure.peak": "Peak over {limit} {unit}",
    "exposure.judged": "judged over {span}",
    "exposure.oxygen": "Oxygen given, by flows entered by hand",
    "exposure.agent": "Agent used, by entries by hand",
    "exposure.litres": "{value} L",
    "exposure.millilitres": "{value} mL",
    "exposure.held": "an entry stood for {span} at most",
    "exposure.stored_energy": "On battery",
    "exposure.bypass": "In bypass",
    "exposure.dead": "Without output",
}

_MARKS: Final[dict[str, str]] = {
    "marks.title": "Marks",
    "marks.new": "Write a mark",
    "marks.change": "Change mark {number}",
    "marks.time": "Time, HH:MM or HH:MM:SS",
    "marks.author": "Initials",
    "marks.text": "What happened",
    "marks.category": "Category",
    "marks.save": "Write down",
    "marks.saved": "Written down.",
    "marks.stop": "Leave unchanged",
    "marks.edit": "Change",
    "marks.edit_of": "Change the mark of {clock}",
    "marks.search": "Search all nights",
    "marks.find": "Search",
    "marks.none": "No mark in this night.",
    "marks.nothing": "No mark holds these words.",
    "marks.found": "Found: {count}",
    "marks.history": "Earlier versions",
    "marks.version": "{recorded}, {author}: {kind}: {text}",
    "marks.bad_time": "Write the time as HH:MM or HH:MM:SS, within this night.",
    "marks.bad_author": "Write your initials, so that others can ask you.",
    "marks.failed": "Not written: {reason}",
    "mark.kind.note": "Note",
    "mark.kind.suction": "Suction",
    "mark.kind.moved": "Moved",
    "mark.kind.tube_changed": "Tube changed",
    "mark.kind.equipment": "Equipment",
    "mark.kind.drug": "Drug given",
    "choice.title": "How the pages speak",
    "choice.language": "Language",
    "choice.language.en": "English",
    "choice.language.fr": "Français",
    "choice.unit": "Pressure in",
    "unit.hPa": "hPa",
    "unit.mbar": "mbar",
}

_HANDOVER: Final[dict[str, str]] = {
    "handover.title": "Handover, night of {date}",
    "handover.where": "{place}, module {module}",
    "handover.no_place": "no bed named",
    "handover.span": "Record from {start} to {end} ({zone}, {offset}); written {written}",
    "handover.preset": "Preset {preset}",
    "handover.simulated": "SIMULATED. From an emulated module, not from a patient.",
    "handover.summary": "Summary",
    "handover.trends": "Trends",
    "handover.alarms": "Alarms by condition",
    "handover.apart": "Disconnections",
    "handover.notes": "Notes",
    "handover.reserves": "Reserves at {clock}, lower bounds",
    "handover.reserves_none": "Not shown for a night that is not the last one: see the page Reserves.",
    "handover.reserve": "{rung} (not known: {list})",
    "handover.coverage": "Data coverage",
    "handover.covered": "{watched} of {whole} recorded ({percent} %); records lost for good: {gaps}",
    "handover.no_alarms": "No alarm was recorded.",
    "handover.no_apart": "None was seen. A tube lying against something can keep pressure.",
    "handover.no_notes": "Nobody wrote a note.",
    "handover.more": "and {count} more, on the page Night",
    "handover.began": "Began",
    "handover.lasted": "Lasted",
    "handover.before": "Came before",
    "handover.highest": "Highest, {unit}",
    "handover.caution": "A research and prototyping tool, never the only or the primary alarm. Source "
    "purity is "
    "measured at the source; it is not what was inspired. Pressure can't tell: {list}.",
    "handover.earlier": "{finding}, {span} earlier",
    "handover.lane_high": "high",
    "handover.lane_medium": "medium",
    "handover.lane_low": "low",
    "handover.figure": "Trends of the night: supply before and after the UPS, source purity, circuit "
    "pressure, rate, "
    "alarms. Hatched: not recorded.",
    "handover.peak": "peak",
    "handover.end": "end-expiratory",
    "handover.hatched": "hatched: not recorded",
}

TEXTS: Final[dict[str, str]] = {
    **_SUMMARY, **_BURDEN, **_MARKS, **_HANDOVER, **RESERVES, **SENTENCES,
}  # fmt: skip
