"""What a rehearsal needs, boot by boot: engine inputs, settings, presses, restored rows, transitions."""

from array import array
from dataclasses import replace
from typing import Any

from firmware_sim.contract import commands, log_codes
from firmware_sim.contract import settings as s
from firmware_sim.contract.alarms import TRANSITIONS
from ingest.analysis.rehearsal.recording import STEP_MS, Act, Recording, Stretch, Transition
from ingest.store.reader.base import Base
from ingest.store.reader.rows import Boot
from ingest.store.schema import SEQ_BITS

RESTORED = TRANSITIONS.index("restored")
# Commands that the module refused before its engine was asked are not done again.
REFUSED = frozenset(
    (commands.BUTTON_FIRST, commands.REPLAYED, commands.WRONG_BOOT, commands.UNKNOWN_COMMAND,
     commands.BAD_BODY, commands.REFUSED)
)  # fmt: skip
ALL_ROWS = 255


def recordings(base: Base, module: int, start: int, end: int) -> list[Recording]:
    """Return the recordings of all boots that touch [start, end), each from its beginning up to `end`.

    A boot is left out when no settings were recorded in it or before it.
    """
    out: list[Recording] = []
    known: tuple[int, ...] = ()
    for boot in base.boots(module):
        low, high = boot.id << SEQ_BITS, (boot.id + 1) << SEQ_BITS
        changes = _settings(base, low, high)
        if boot.tick(start) <= boot.last_tick and boot.tick(end) > 0 and (known or changes):
            last_tick = min(boot.last_tick, boot.tick(end))
            out.append(_recording(base, boot, last_tick, known or changes[0][1].settings or (), changes))
        known = changes[-1][1].settings or known if changes else known
    return out


def _recording(
    base: Base, boot: Boot, last_tick: int, settings: tuple[int, ...], changes: list[tuple[int, Act]]
) -> Recording:
    low, high = boot.id << SEQ_BITS, (boot.id + 1) << SEQ_BITS
    acts = sorted([*changes, *_presses(base, low, high)], key=lambda pair: pair[0])
    recorded = [
        Transition(
            tick=row[0], row=row[1], transition=row[2], priority=row[3], flags=row[4], value=row[5],
            limit=row[6], cause=row[7],
        )
        for row in base.rows(
            'SELECT tick, "row", "transition", priority, flags, value, "limit", cause FROM alarm '
            "WHERE id > ? AND id < ? AND tick <= ? ORDER BY id",
            (low, high, last_tick),
        )
    ]  # fmt: skip
    return Recording(
        boot=boot.id,
        utc0_ms=boot.utc0,
        rate_ppb=boot.rate_ppb,
        end_step=last_tick // STEP_MS,
        settings=settings,
        stretches=_stretches(base, low, high, last_tick),
        acts=tuple(act for _, act in acts),
        restored=tuple(one.row for one in recorded if one.transition == RESTORED),
        recorded=tuple(recorded),
    )


def _stretches(base: Base, low: int, high: int, last_tick: int) -> tuple[Stretch, ...]:
    """Join records of inputs while none is missing; after a hole wait for one that stands alone."""
    out: list[tuple[int, int, list[bytes]]] = []
    next_step = -1
    for tick, steps, whole, changes in base.connection.execute(
        "SELECT tick, steps, whole, changes FROM inputs WHERE id > ? AND id < ? AND tick <= ? ORDER BY id",
        (low, high, last_tick),
    ):
        first = tick // STEP_MS - steps
        if first != next_step:
            if not whole:
                continue
            out.append((first, 0, []))
        elif whole and out[-1][1]:
            # It stands alone: its codes do not go on from where the last ones ended.
            out.append((first, 0, []))
        begun, count, parts = out[-1]
        parts.append(changes)
        out[-1] = (begun, count + steps, parts)
        next_step = first + steps
    return tuple(
        Stretch(first_step=first, steps=count, codes=b"".join(parts)) for first, count, parts in out
    )


def _settings(base: Base, low: int, high: int) -> list[tuple[int, Act]]:
    """Return (record id, act) of each whole report; settings of a later contract have their defaults."""
    out: list[tuple[int, Act]] = []
    parts_seen: dict[int, array[int]] = {}
    for record, tick, part, parts, first, blob in base.rows(
        'SELECT id, tick, part, parts, first, "values" FROM settings WHERE id > ? AND id < ? ORDER BY id',
        (low, high),
    ):
        parts_seen = {} if part == 0 else parts_seen
        parts_seen[first] = array("i", blob)
        if part == parts - 1 and len(parts_seen) == parts:
            whole = tuple(one for place in sorted(parts_seen) for one in parts_seen[place])
            later = tuple(row.adult for row in s.SETTINGS[len(whole) :])
            out.append((record, Act(step=_step(tick), settings=whole + later)))
    return out


def _presses(base: Base, low: int, high: int) -> list[tuple[int, Act]]:
    """Return (record id, act) of each press of a button and each command that silences."""
    out = []
    for record, tick, code, first, text in base.rows(
        "SELECT id, tick, code, first, text FROM log WHERE id > ? AND id < ? AND code IN (?, ?) ORDER BY id",
        (low, high, log_codes.BUTTON, log_codes.COMMAND),
    ):
        act = _press(code, first, text)
        if act is not None:
            out.append((record, replace(act, step=_step(tick))))
    return out


def _press(code: int, first: int, text: Any) -> Act | None:
    if code == log_codes.BUTTON:
        return Act(step=0, row=ALL_ROWS if first else None)
    command, result, from_page = first & 255, first >> 8 & 255, bool(first >> 16 & 1)
    if command not in (commands.PAUSE_AUDIO, commands.ACKNOWLEDGE) or result in REFUSED:
        return None
    row = int(text) if text.isascii() and text.isdigit() else ALL_ROWS
    return Act(step=0, row=row if command == commands.ACKNOWLEDGE else None, from_page=from_page)


def _step(tick: int) -> int:
    """Return the step before which something with this tick was done."""
    return max(tick // STEP_MS - 1, 0)
