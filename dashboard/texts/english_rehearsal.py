"""English of the page Rehearsal."""

from typing import Final

REHEARSAL: Final[dict[str, str]] = {
    "nav.rehearsal": "Rehearsal",
    "rehearsal.title": "Rehearsal",
    "rehearsal.sends_nothing": "Nothing here is sent to a module.",
    "rehearsal.lead": "The module's own alarm engine runs again over this night with another setting. "
    "Circuit rows keep their hard maximum delays.",
    "rehearsal.try": "Try",
    "rehearsal.setting": "Setting",
    "rehearsal.value": "Value",
    "rehearsal.go": "Rehearse",
    "rehearsal.needs_value": "Choose a setting and write a value.",
    "rehearsal.refused": "Not rehearsed: {reason}",
    "rehearsal.missed_title": "True events missed or late",
    "rehearsal.no_truth": "No true event is marked in this night, so what would have been missed can't be "
    "told. Mark events (kind: event) first.",
    "rehearsal.none_missed": "Of {events} marked events none would have been missed or later. That proves "
    "nothing about other nights.",
    "rehearsal.missed": "MISSED: {what} at {at} (in force: {before})",
    "rehearsal.late": "LATE: {what} at {at}, {after} s (in force: {before})",
    "rehearsal.no_alarm": "no alarm",
    "rehearsal.not_exact": "With the settings in force the engine does not repeat this night exactly: take "
    "the figures as a hint only.",
    "rehearsal.what": "Figure",
    "rehearsal.in_force": "In force",
    "rehearsal.tried": "Tried",
    "rehearsal.figures": "Figures in force and as tried",
    "rehearsal.row.missed": "True events missed",
    "rehearsal.row.late": "True events late",
    "rehearsal.row.nuisance": "Alarms that belong to no marked event",
    "rehearsal.row.activations": "Alarms",
    "rehearsal.row.per_hour": "Alarms an hour",
    "rehearsal.row.standing": "Time in which conditions stood, added up",
    "rehearsal.row.silence": "Longest silence while one stood",
    "rehearsal.row.chatter": "Chatter (3 or more of one in 1 min)",
    "rehearsal.row.floods": "Floods (more than 10 in 10 min)",
    "rehearsal.row.watched": "Time rehearsed",
    "rehearsal.plot": "Nuisance against delay",
    "rehearsal.plot_how": "The setting from bound to bound. Diamond: in force. Cross: misses an event.",
    "rehearsal.point": "{value}: {nuisance} to no event, {missed} missed, {late} late",
    "rehearsal.axis.added": "delay added to detection, s (median)",
    "rehearsal.axis.nuisance": "alarms that belong to no marked event",
}
