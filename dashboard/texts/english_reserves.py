"""English of the reserves: page, card, cascade; words of the analysis come from there."""

from typing import Final

from ingest.analysis.reserves.words import SOURCES, WORDS

RESERVES: Final[dict[str, str]] = {
    "nav.reserves": "Reserves",
    "reserves.title": "If the mains fails now",
    "reserves.lead": "At least {minutes} min until only hands and room air are left, at {clock} ({zone}).",
    "reserves.calculated": "Calculated, not measured. A lower bound proves nothing: watch the patient.",
    "reserves.rung": "{name}: at least {minutes} min, until {clock}",
    "reserves.hand": "{name}: from {clock}",
    "reserves.bag": "self-inflating bag at the bed, seen at {clock}",
    "reserves.not_proven": "not proven",
    "reserves.unknown": "Not known: {list}",
    "reserves.at_most": "perhaps up to {minutes} min",
    "reserves.open": "how much longer is not known",
    "reserves.lengthen": "What would lengthen it",
    "reserves.longer": "{minutes} min longer: {what} ({flow} L/min)",
    "reserves.nothing_lengthens": "Nothing is known that would: enter cylinder and flow.",
    "reserves.whole": "What the whole picture does not know",
    "reserves.sources": "Where the figures come from",
    "reserves.figure": "Battery, then cylinder, then hand ventilation with room air, over the time from now. "
    "Filled: at least. Hatched: not proven. Dotted: perhaps longer.",
    "reserves.key": "Filled: at least. Hatched: not proven. Dotted: perhaps longer.",
    "reserves.content": "{size}, {gauge} bar read at {clock}: ideal {ideal} L, real gas {real} L, factor "
    "rule {factor} L; the smallest is used. Empties at {flow} L/min.",
    "reserves.gauge_read": "{gauge} bar, read at {clock}",
    "reserves.module_told": "The module was told at {clock}: it counts this cylinder down itself "
    "and alarms below {limit} min.",
    "reserves.module_refused": "The module refused this entry ({result}): its cylinder alarm does not "
    "know it.",
    "reserves.module_waits": "The module has not been told of this entry: it is not connected, or no daemon "
    "runs. Its cylinder alarm does not know it yet.",
    "reserves.rate": "Gauge fell by {flow} L/min over {minutes} min ({low} to {high}).",
    "reserves.unreadable": "Entries that can't be read: {count}. Enter them again.",
    "reserves.more": "Enter cylinder, flow, bag",
    "reserves.enter": "What is at the bed",
    "reserves.author": "Initials",
    "reserves.cylinder": "Cylinder and gauge",
    "reserves.size": "Size",
    "reserves.other": "Other, by litres of water",
    "reserves.water": "Water capacity, 0.2 to 80 L, stamped on the neck",
    "reserves.gauge": "Gauge now: 0 to 300 bar, 4351 psi, 30000 kPa",
    "reserves.unit": "Unit of the gauge",
    "reserves.unit.bar": "bar",
    "reserves.unit.psi": "psi",
    "reserves.unit.kPa": "kPa",
    "reserves.flows": "Flows",
    "reserves.oxygen": "Oxygen, 0 to 30 L/min",
    "reserves.volume": "Minute volume of a gas-driven bellows, 0.1 to 40 L/min; empty: none",
    "reserves.bleed": "Bleed, 0 to 20 L/min",
    "reserves.bag_title": "Self-inflating bag",
    "reserves.bag_time": "Seen at the bed, HH:MM; empty: now",
    "reserves.save.cylinder": "Enter cylinder",
    "reserves.save.flow": "Enter flows",
    "reserves.save.bag": "Bag seen",
    "reserves.saved": "Entered.",
    "reserves.bad_author": "Write your initials, so that others can ask you.",
    "reserves.bad_time": "Write the time as HH:MM, within the last 24 hours.",
    "reserves.failed": "Not entered: {reason}",
    "mark.kind.reserve": "Reserve",
    **WORDS,
    **SOURCES,
}
