"""Alarm transitions as recorded, and the intervals that they bound."""

from typing import Any

from firmware_sim.contract.alarms import TRANSITIONS
from ingest.store.reader.base import Base
from ingest.store.reader.rows import AlarmInterval, AlarmTransition, Boot
from ingest.store.schema import SEQ_BITS

RAISED, CLEARED, ACKNOWLEDGED, LATCHED, RESTORED = (
    TRANSITIONS.index(name) for name in ("raised", "cleared", "acknowledged", "latched", "restored")
)

_COLUMNS = 'id, tick, "row", "transition", priority, flags, value, "limit", cause'


def transitions(base: Base, module: int, start: int, end: int) -> list[AlarmTransition]:
    """Return every alarm transition with start <= UTC < end, in order of boot and sequence."""
    out = []
    for boot, low, high in base.spans("alarm", module, start, end):
        out += _transitions(base, boot, low, high)
    return out


def _transitions(base: Base, boot: Boot, low: int, high: int) -> list[AlarmTransition]:
    return [
        _transition(boot, row)
        for row in base.rows(
            f"SELECT {_COLUMNS} FROM alarm WHERE id >= ? AND id < ? ORDER BY id", (low, high)
        )
    ]


def _transition(boot: Boot, row: tuple[Any, ...]) -> AlarmTransition:
    return AlarmTransition(
        t=boot.utc(row[1]),
        id=row[0],
        tick=row[1],
        row=row[2],
        transition=row[3],
        priority=row[4],
        flags=row[5],
        value=row[6],
        limit=row[7],
        cause=row[8],
    )


def intervals(base: Base, module: int, start: int, end: int) -> list[AlarmInterval]:
    """Return the alarms that stood inside [start, end), whole, by start.

    An alarm never outlives its boot: what stood when the module lost power is cut at the boot's last tick.
    """
    out = []
    boots = base.boots(module)
    for place, boot in enumerate(boots):
        if boot.tick(end) < 0 or boot.tick(start) > boot.last_tick:
            continue
        # From the boot's first alarm on: what stands at `start` may have begun long before it.
        all_of = _transitions(base, boot, boot.id << SEQ_BITS, (boot.id + 1) << SEQ_BITS)
        out += _join(all_of, boot, newest=place == len(boots) - 1)
    return sorted(
        (one for one in out if one.start < end and (one.end is None or one.end >= start)),
        key=lambda one: (one.start, one.row),
    )


def _join(changes: list[AlarmTransition], boot: Boot, newest: bool) -> list[AlarmInterval]:
    standing: dict[int, list[AlarmTransition]] = {}
    out = []
    for change in changes:
        if change.row not in standing and change.transition not in (RAISED, RESTORED):
            continue
        chain = standing.setdefault(change.row, [])
        chain.append(change)
        if change.transition == CLEARED:
            out.append(_interval(standing.pop(change.row), end=change.t, cut=False))
    last = None if newest else boot.utc(boot.last_tick)
    out += [_interval(chain, end=last, cut=True) for chain in standing.values()]
    return out


def _interval(chain: list[AlarmTransition], end: int | None, cut: bool) -> AlarmInterval:
    first = chain[0]
    acknowledged = next((one.t for one in chain if one.transition == ACKNOWLEDGED), None)
    turns = [one for one in chain if one.transition in (RAISED, LATCHED)]
    gone = turns[-1].t if turns and turns[-1].transition == LATCHED else None
    return AlarmInterval(
        row=first.row,
        priority=max(one.priority for one in chain),
        start=first.t,
        end=end,
        cut=cut,
        gone=gone,
        acknowledged=acknowledged,
        cause=first.cause,
        transitions=tuple(chain),
    )
