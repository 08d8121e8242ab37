"""What a person reads off and types beside the trends: saturation, pulse, flow, gauge, agent.

Entered by hand, never measured here: every drawing and export says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

from ingest.analysis.reserves.entries import HAND_KIND
from ingest.analysis.reserves.entries import KIND as RESERVE
from ingest.analysis.units import GAUGE_UNITS, QUANTITIES, checked
from ingest.analysis.written import Written

KIND: Final = HAND_KIND


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """Describe one entry: the quantity that bounds it, the units it may be typed in, decimals shown."""

    quantity: str
    units: tuple[str, ...]
    decimals: int

    @property
    def unit(self) -> str:
        """Return the unit in which it is kept."""
        return QUANTITIES[self.quantity].unit


ENTRIES: Final[Mapping[str, Entry]] = MappingProxyType(
    {
        "spo2": Entry(quantity="oxygen saturation", units=("%",), decimals=0),
        "pulse": Entry(quantity="pulse", units=("/min",), decimals=0),
        "oxygen_flow": Entry(quantity="oxygen flow", units=("L/min",), decimals=1),
        "gauge": Entry(quantity="cylinder gauge", units=GAUGE_UNITS, decimals=0),
        "agent_level": Entry(quantity="agent level", units=("%",), decimals=1),
        "agent_left": Entry(quantity="agent in the vaporizer", units=("mL",), decimals=0),
    }
)
# A reserve's entry that says the same: what it holds, and the field of its data.
_RESERVE_FIELDS: Final[Mapping[str, tuple[tuple[str, str], ...]]] = MappingProxyType(
    {
        "cylinder": (("gauge", "gauge_bar"),),
        "flow": (("oxygen_flow", "oxygen_l_min"),),
        "agent": (("agent_level", "level_percent"), ("agent_left", "filling_ml")),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class HandPoint:
    """Hold one value entered by hand: a key of ENTRIES, UTC ms, value in the entry's unit, who."""

    what: str
    at_ms: int
    value: float
    author: str

    @property
    def text(self) -> str:
        """Return value and unit."""
        entry = ENTRIES[self.what]
        return f"{self.value:.{entry.decimals}f} {entry.unit}"


def hand_entry(what: str, value: object, unit: str | None = None) -> dict[str, Any]:
    """Return the data of one entry in its own unit; raise Refused for what makes no sense.

    What was typed is kept beside it. A unit is never assumed where there are several.
    """
    entry = ENTRIES[what]
    given = unit if unit is not None or len(entry.units) > 1 else entry.units[0]
    inside = checked(entry.quantity, value, given or "")
    return {
        "what": what, "value": round(inside, 4), "unit": entry.unit, "typed": str(value).strip(),
        "typed_unit": given,
    }  # fmt: skip


def hand_points(marks: Iterable[Written]) -> tuple[HandPoint, ...]:
    """Return all values entered by hand, those entered for the reserves too, by time."""
    found = []
    for mark in marks:
        for what, value in _values(mark):
            if isinstance(value, int | float) and not isinstance(value, bool):
                found.append(HandPoint(what=what, at_ms=mark.utc, value=float(value), author=mark.author))
    return tuple(sorted(found, key=lambda one: (one.at_ms, one.what)))


def _values(mark: Written) -> list[tuple[str, object]]:
    what = mark.data.get("what")
    if mark.kind == KIND and what in ENTRIES:
        return [(str(what), mark.data.get("value"))]
    if mark.kind == RESERVE:
        return [(name, mark.data.get(key)) for name, key in _RESERVE_FIELDS.get(str(what), ())]
    return []


def by_entry(points: Sequence[HandPoint]) -> dict[str, list[HandPoint]]:
    """Return the points of each entry that has any, in the order of ENTRIES."""
    return {
        what: mine for what in ENTRIES if (mine := [one for one in points if one.what == what])
    }
