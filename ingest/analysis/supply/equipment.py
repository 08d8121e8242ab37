"""Find which dips tripped what: the equipment's own ride-through curve, from the record of one site."""

from collections.abc import Sequence
from dataclasses import dataclass

from ingest.analysis.supply.records import SupplyEvent

EDGES_S = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 5.0, 60.0)
WITHIN_S = 5.0
"""A trip this long after the end of a dip still belongs to it (our own choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """Hold one dip and what one piece of equipment did. tripped None: it was not watched or not running.

    start_s: when the dip began.
    """

    equipment: str = ""
    start_s: float = 0.0
    residual_pu: float
    duration_s: float
    tripped: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RideThrough:
    """Give one duration class: trips and survivals, and the residuals that divide them.

    survived_down_to_pu: deepest dip survived. tripped_up_to_pu: shallowest dip that tripped. Each None when
    there was none. The limit lies between them; when they overlap the outcome also depends on something else.
    """

    equipment: str = ""
    longer_than_s: float
    up_to_s: float
    survived: int
    tripped: int
    survived_down_to_pu: float | None
    tripped_up_to_pu: float | None

    @property
    def mixed(self) -> bool:
        """Tell whether a dip was survived that was deeper than one that tripped."""
        low, high = self.survived_down_to_pu, self.tripped_up_to_pu
        return low is not None and high is not None and low < high


def trials(
    events: Sequence[SupplyEvent],
    trips_s: Sequence[float],
    watched: Sequence[tuple[float, float]],
    within_s: float = WITHIN_S,
    name: str = "",
) -> tuple[list[Trial], list[float]]:
    """Give each dip its outcome for the equipment `name`, and the trips that no dip explains.

    watched: times the equipment ran and was seen. A trip belongs to the last dip
    that began before it and ended no longer than within_s ago.
    """
    dips = sorted((e for e in events if e.kind == "dip"), key=lambda e: e.start_s)
    cause: dict[int, float] = {}
    unexplained = []
    for trip in sorted(trips_s):
        near = [n for n, dip in enumerate(dips) if dip.start_s <= trip <= dip.back_end_s + within_s]
        if near:
            cause[near[-1]] = trip
        else:
            unexplained.append(trip)
    out = []
    for number, dip in enumerate(dips):
        seen = any(a <= dip.start_s and dip.back_s <= b for a, b in watched)
        tripped: bool | None = True if number in cause else False if seen else None
        out.append(
            Trial(
                equipment=name, start_s=dip.start_s, residual_pu=dip.extreme_pu, duration_s=dip.duration_s,
                tripped=tripped,
            )
        )  # fmt: skip
    return out, unexplained


def ride_through(
    found: Sequence[Trial], edges_s: Sequence[float] = EDGES_S, name: str = ""
) -> list[RideThrough]:
    """Sum trials of the equipment `name` up by duration class; unknown outcomes are left out."""
    rows = []
    for low, high in zip((0.0, *edges_s), (*edges_s, float("inf")), strict=True):
        here = [t for t in found if low < t.duration_s <= high]
        lived = [t.residual_pu for t in here if t.tripped is False]
        fell = [t.residual_pu for t in here if t.tripped]
        rows.append(
            RideThrough(
                equipment=name,
                longer_than_s=low,
                up_to_s=high,
                survived=len(lived),
                tripped=len(fell),
                survived_down_to_pu=min(lived, default=None),
                tripped_up_to_pu=max(fell, default=None),
            )
        )
    return rows


def all_equipment(
    events: Sequence[SupplyEvent],
    trips: Sequence[tuple[str, float]],
    watched: Sequence[tuple[str, float, float]],
) -> tuple[list[Trial], list[RideThrough], list[tuple[str, float]]]:
    """Give trials, ride-through curve and unexplained trips of each piece of equipment, by name.

    trips: name and time; watched: name, begin and end.
    """
    trials_of_all: list[Trial] = []
    curves: list[RideThrough] = []
    unexplained: list[tuple[str, float]] = []
    for name in sorted({name for name, _ in trips} | {name for name, _, _ in watched}):
        seen = [(begin, end) for other, begin, end in watched if other == name]
        found, alone = trials(events, [at for other, at in trips if other == name], seen, name=name)
        trials_of_all += found
        curves += ride_through(found, name=name)
        unexplained += [(name, at) for at in alone]
    return trials_of_all, curves, unexplained
