"""English of the reserves: rungs, what isn't known, what lengthens, and the source of each formula."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "rung.battery": "Battery",
        "rung.cylinder": "Cylinder",
        "rung.hand_room_air": "Hand ventilation with room air",
        "hand.bag_not_seen": "nobody has said that a self-inflating bag is at the bed",
        "battery.never_tested": "never proven by a discharge",
        "battery.test_too_old": "the proof is too old",
        "battery.test_dated_later": "the proof is dated later than now",
        "battery.temperature": "the battery's temperature",
        "battery.recharge": "how far it has charged again",
        "battery.load_unknown": "the load",
        "battery.by_voltage": "its voltage allows less than its charge: taken from the test's curve",
        "battery.bypassed": "bypassed: it does not stand behind the output",
        "battery.output_dead": "there is no voltage after the UPS",
        "battery.support_not_proven": "whether the battery stands behind the output",
        "battery.reading_old": "the module's reading is old; all time since is taken off",
        "battery.peukert_only": "by Peukert's law only, no discharge proves it",
        "battery.short": "short",
        "battery.very_short": "very short",
        "cylinder.not_entered": "not entered",
        "cylinder.flow_not_entered": "the flow is not entered",
        "cylinder.gauge_old": "the gauge was read more than 12 h ago",
        "cylinder.in_use": "oxygen seems to come from a cylinder: what was used since the gauge was read is "
        "taken off",
        "cylinder.rate_not_measured": "the true rate, by two timed gauge readings",
        "cylinder.leaks": "leaks",
        "cylinder.gas_temperature": "the temperature of the gas",
        "cylinder.somebody_must_open": "somebody must open it",
        "cascade.staff_hands": "how long hands last",
        "cascade.equipment_faults": "faults of equipment",
        "cascade.gas_to_lung": "whether gas reaches the lung",
        "lengthen.half_oxygen": "half the added oxygen",
        "lengthen.one_l_min": "oxygen at 1 L/min",
        "lengthen.minute_volume": "a fifth less minute volume",
        "lengthen.hand_instead_of_drive_gas": "hand ventilation in place of the drive gas",
        "mixture.no_leak": "no leak is assumed",
        "mixture.flow_right": "the flow meter is right",
        "mixture.reservoir": "a reservoir that holds the oxygen of expiration",
        "mixture.no_reservoir": "no reservoir",
        "mixture.constant_inspiratory_flow": "inspiratory flow is constant",
        "mixture.not_entered": "minute volume and reservoir tube are not entered",
        "mixture.purity_not_current": "the purity reading is not current",
        "mixture.volume_by_hand": "the minute volume is as it was entered",
        "mixture.no_pattern": "no breath was seen in the last minute: whether the tube is long enough is not "
        "known, and one third of the cycle is taken as inspiration",
        "agent.not_entered": "agent, dial and filling are not entered",
        "agent.dial": "what the vaporizer really gives at this dial",
        "agent.carrier_by_hand": "the carrier gas is as it was entered",
        "agent.temperature": "the temperature of the liquid",
    }
)

SOURCES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "source.battery_proven": "last proven discharge test × charge × ageing of 10 % a year (common "
        "practice; bulk charge to 85 %: UPS handbook, McGraw-Hill 2004, p. 197)",
        "source.peukert": "Peukert's law, rated form t = H (C/(I H))^k (published); ageing 0.8: UFC 3-520-01 "
        "App. E",
        "source.gas": "ideal gas law (definition); real gas: Schmidt, Wagner, Fluid Phase Equilibria "
        "19 (1985) 175; factor and 'leave 200 psi': US Army course MD0542; smallest used",
        "source.demand": "minute volume of a gas-driven bellows + bleed + added oxygen (common practice)",
        "source.rate": "two timed gauge readings, each off by 2 bar at most (common practice)",
        "source.mixture_reservoir": "[0.21 (MV − Q) + p Q]/MV (published; Shrestha et al. 1994)",
        "source.mixture_none": "0.21 + (p − 0.21)(Q/MV)(Ti/Ttot) (mass balance; Jarvis, Brock-Utne 1991)",
        "source.agent": "carrier × %/100 × 60/E, and 3 × flow × % (Indian J Anaesth 2013;57:455); "
        "larger used",
        "source.cascade": "lower bounds one after another, each rounded down (ours)",
    }
)
