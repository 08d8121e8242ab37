"""Supply events, captures, cycles, settings, engine inputs, commands and marks."""

import json
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firmware_sim.contract import SUPPLY_RATE_HZ, channels
from ingest.store.reader.base import Base, unpack_tail
from ingest.store.reader.rows import (
    Boot,
    Capture,
    Cycles,
    HalfCycles,
    HostCommand,
    Mark,
    SettingsInForce,
    SupplyEvent,
)
from ingest.store.schema import SEQ_BITS

OPEN, CLOSED = 0, 1
# Volts a converter code of the supply taps before gain.
VOLTS_PER_CODE = (channels.CHANNELS[0][7] - channels.CHANNELS[0][6]) / (
    channels.CHANNELS[0][5] - channels.CHANNELS[0][4]
)
# An event that spans a whole window has its two records outside: this many neighbours are looked at.
NEIGHBOURS = 64


def supply_events(base: Base, module: int, start: int, end: int) -> list[SupplyEvent]:
    """Return the supply events that touch [start, end), opening and closing record joined, by start."""
    out = []
    for boot, low, high in base.spans("supply_event", module, start, end):
        out += _events_of_boot(base, boot, low, high)
    return sorted(
        (
            event
            for event in out
            if event.start < end and (event.duration_ms is None or event.start + event.duration_ms >= start)
        ),
        key=lambda event: (event.start, event.id),
    )


def _events_of_boot(base: Base, boot: Boot, low: int, high: int) -> list[SupplyEvent]:
    columns = "id, event_id, tap, kind, phase, start_tick, duration, extreme, flags"
    first, last = boot.id << SEQ_BITS, (boot.id + 1) << SEQ_BITS
    found = base.rows(
        f"SELECT * FROM (SELECT {columns} FROM supply_event WHERE id > ? AND id < ? "
        "ORDER BY id DESC LIMIT ?) "
        f"UNION ALL SELECT {columns} FROM supply_event WHERE id >= ? AND id < ? "
        f"UNION ALL SELECT * FROM (SELECT {columns} FROM supply_event WHERE id >= ? AND id < ? ORDER BY id "
        "LIMIT ?) ORDER BY id",
        (first, low, NEIGHBOURS, low, high, high, last, NEIGHBOURS),
    )
    joined: dict[tuple[int, int, int], SupplyEvent] = {}
    for row_id, event_id, tap, kind, phase, start_tick, duration, extreme, flags in found:
        key = (event_id, tap, start_tick)
        opened = joined.get(key)
        if opened is not None and opened.duration_ms is not None and phase == OPEN:
            continue
        joined[key] = SupplyEvent(
            id=row_id if opened is None else opened.id,
            boot=boot.id,
            event_id=event_id,
            tap=tap,
            kind=kind,
            start=boot.utc(start_tick),
            duration_ms=duration if phase == CLOSED else None,
            extreme_v=extreme / 100,
            flags=flags,
        )
    return list(joined.values())


def captures(base: Base, module: int, start: int, end: int, kind: int | None) -> list[Capture]:
    """Return the waveform captures that begin in [start, end); `kind` None: all kinds."""
    built = []
    # A capture begins up to its own length before its first record was made, and is sent over some seconds.
    for boot, low, high in base.spans("capture", module, start, end + 60_000):
        found = base.rows(
            'SELECT id, capture_id, event_id, kind, tap, part, parts, start_tick, start_us, gain, "offset", '
            "codes FROM capture WHERE id >= ? AND id < ? ORDER BY id",
            (low, high),
        )
        wanted = [row for row in found if kind is None or row[3] == kind]
        built += [_capture(boot, parts) for parts in _gather(wanted)]
    return sorted((one for one in built if start <= one.start < end), key=lambda one: (one.start, one.tap))


def _gather(found: list[tuple[Any, ...]]) -> list[dict[int, tuple[Any, ...]]]:
    # Parts of one capture follow each other; its number comes back after 65 536 others.
    groups: list[dict[int, tuple[Any, ...]]] = []
    newest: dict[tuple[int, int], dict[int, tuple[Any, ...]]] = {}
    for row in found:
        key, part = (row[1], row[4]), row[5]
        group = newest.get(key)
        if group is None or part in group:
            group = newest[key] = {}
            groups.append(group)
        group[part] = row
    return groups


def _capture(boot: Boot, parts: dict[int, tuple[Any, ...]]) -> Capture:
    first = min(parts)
    row = parts[first]
    count = row[6]
    codes_of = {part: np.frombuffer(one[11], "<i2") for part, one in parts.items()}
    usual = max(len(codes) for part, codes in codes_of.items() if part < count - 1 or len(codes_of) == 1)
    codes = np.concatenate([codes_of.get(part, np.zeros(usual, np.int16)) for part in range(count)])
    gain = row[9] / 16384
    volts = (codes.astype(np.float64) - row[10]) * (gain * VOLTS_PER_CODE)
    # Each part carries the time of its own first code.
    began = boot.utc(row[7]) + row[8] / 1000 - first * usual * 1000 / SUPPLY_RATE_HZ
    return Capture(
        id=row[0],
        boot=boot.id,
        capture_id=row[1],
        event_id=row[2],
        kind=row[3],
        tap=row[4],
        start=began,
        gain=gain,
        offset=row[10],
        codes=codes,
        volts=volts,
        complete=len(parts) == count,
        missing=tuple((n * usual, (n + 1) * usual) for n in range(count) if n not in parts),
    )


def half_cycles(base: Base, module: int, start: int, end: int) -> list[HalfCycles]:
    """Return the half-cycle rms runs that begin in [start, end)."""
    out = []
    for boot, low, high in base.spans("half_cycles", module, start, end + 60_000):
        for capture_id, tap, start_tick, period, rms in base.rows(
            "SELECT capture_id, tap, start_tick, period, rms FROM half_cycles WHERE id >= ? AND id < ? "
            "ORDER BY id",
            (low, high),
        ):
            out.append(
                HalfCycles(
                    boot=boot.id,
                    capture_id=capture_id,
                    tap=tap,
                    start=boot.utc(start_tick),
                    period_us=period,
                    rms=unpack_tail(rms, "H?", 100),
                )
            )
    return [one for one in out if start <= one.start < end]


def supply_cycles(base: Base, module: int, start: int, end: int, tap: int) -> Cycles:
    """Return the 10/12-cycle rms values of one tap (0 before the UPS, 1 after it)."""
    times: list[NDArray[np.int64]] = []
    values: list[NDArray[np.float64]] = []
    flags: list[NDArray[np.bool_]] = []
    for boot, low, high in base.spans("supply_cycles", module, start, end + 1000):
        found = base.rows(
            "SELECT tick, count_in, count_out, flagged_in, flagged_out, length(rms) / 2, rms "
            "FROM supply_cycles WHERE id >= ? AND id < ? ORDER BY id",
            (low, high),
        )
        if not found:
            continue
        ticks, count_in, count_out, flagged_in, flagged_out, sizes = np.array(
            [row[:6] for row in found], np.int64
        ).T
        first, counts = (np.zeros_like(count_in), count_in) if tap == 0 else (count_in, count_out)
        counts = np.clip(sizes - first, 0, counts)
        place = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
        rms = unpack_tail(b"".join(row[6] for row in found), "H?", 100)
        values.append(rms[np.repeat(np.cumsum(sizes) - sizes + first, counts) + place])
        within = (2 * place + 1) * 1000 // (2 * np.repeat(counts, counts))
        times.append(boot.utc_array(np.repeat(ticks - 1000, counts) + within))
        marked = np.repeat(flagged_in if tap == 0 else flagged_out, counts)
        flags.append((marked >> place & 1).astype(bool))
    t = np.concatenate(times) if times else np.empty(0, np.int64)
    keep = (t >= start) & (t < end)
    return Cycles(
        t=t[keep],
        rms=(np.concatenate(values) if values else np.empty(0))[keep],
        flagged=(np.concatenate(flags) if flags else np.empty(0, bool))[keep],
    )


def settings_history(base: Base, module: int) -> list[SettingsInForce]:
    """Return every whole report of settings, oldest first, repeats of the same left out."""
    out: list[SettingsInForce] = []
    for boot in base.boots(module):
        values: dict[int, tuple[int, ...]] = {}
        for tick, version, digest, part, parts, first, blob in base.rows(
            'SELECT tick, version, digest, part, parts, first, "values" FROM settings '
            "WHERE id > ? AND id < ? ORDER BY id",
            (boot.id << SEQ_BITS, (boot.id + 1) << SEQ_BITS),
        ):
            if part == 0:
                values = {}
            values[first] = tuple(int(one) for one in np.frombuffer(blob, "<i4"))
            if part == parts - 1 and len(values) == parts:
                whole = tuple(one for first_of in sorted(values) for one in values[first_of])
                if not out or (out[-1].version, out[-1].digest, out[-1].values) != (version, digest, whole):
                    out.append(
                        SettingsInForce(since=boot.utc(tick), version=version, digest=digest, values=whole)
                    )
    return out


def settings_at(base: Base, module: int, utc_ms: int) -> SettingsInForce | None:
    """Return the settings in force at a time; the first reported ones before that; None if none ever came."""
    history = settings_history(base, module)
    before = [one for one in history if one.since <= utc_ms]
    return before[-1] if before else history[0] if history else None


def inputs(base: Base, module: int, start: int, end: int) -> Iterator[tuple[int, int, int, int, bytes]]:
    """Yield (boot, tick, steps, whole, changes) of the engine inputs, in order of boot and sequence.

    `tick` is that of the record's last step; decode `changes` with `firmware_sim.contract.inputs`.
    """
    for boot, low, high in base.spans("inputs", module, start, end):
        for tick, steps, whole, changes in base.connection.execute(
            "SELECT tick, steps, whole, changes FROM inputs WHERE id >= ? AND id < ? ORDER BY id", (low, high)
        ):
            yield boot.id, tick, steps, whole, changes


def host_commands(base: Base, module: int) -> list[HostCommand]:
    """Return all commands sent to a module, oldest first."""
    found = base.rows(
        "SELECT c.id, c.boot, c.command_seq, c.utc, c.command, c.body, c.operator, c.reason, c.from_page, "
        "c.answered_utc, c.result, c.detail, c.answer FROM host_command c JOIN boot ON boot.id = c.boot "
        "WHERE boot.module = ? ORDER BY c.id",
        (module,),
    )
    return [
        HostCommand(
            id=row[0],
            boot=row[1],
            command_seq=row[2],
            utc=row[3],
            command=row[4],
            body=row[5],
            operator=row[6],
            reason=row[7],
            from_page=bool(row[8]),
            answered=row[9],
            result=row[10],
            detail=row[11],
            answer=row[12],
        )
        for row in found
    ]


_MARK = "mark, version, module, utc, utc_end, kind, author, text, data, recorded_utc, removed, boot, tick"


def marks(
    base: Base, module: int | None, start: int | None, end: int | None, kind: str | None, text: str | None
) -> list[Mark]:
    """Return the newest version of each mark that was not removed, by time; None leaves a filter out."""
    found = base.rows(
        f"SELECT {_MARK} FROM mark m WHERE version = (SELECT max(version) FROM mark WHERE mark = m.mark) "
        "AND removed = 0 AND (?1 IS NULL OR module = ?1) AND (?2 IS NULL OR kind = ?2) "
        "AND (?3 IS NULL OR text LIKE '%' || ?3 || '%')",
        (module, kind, text),
    )
    chosen = [_mark(base, row) for row in found]
    return sorted(
        (
            mark
            for mark in chosen
            if (start is None or (mark.utc_end or mark.utc) >= start) and (end is None or mark.utc < end)
        ),
        key=lambda mark: (mark.utc, mark.mark),
    )


def mark_history(base: Base, mark: int) -> list[Mark]:
    """Return all versions of one mark, oldest first."""
    return [
        _mark(base, row)
        for row in base.rows(f"SELECT {_MARK} FROM mark WHERE mark = ? ORDER BY version", (mark,))
    ]


def _mark(base: Base, row: tuple[Any, ...]) -> Mark:
    utc, utc_end = row[3], row[4]
    if row[11] is not None:
        # The mark sits at a tick: a corrected clock moves it together with the data.
        utc0, rate = base.rows("SELECT utc0, rate_ppb FROM boot WHERE id = ?", (row[11],))[0]
        moved = utc0 + row[12] + row[12] * rate // 1_000_000_000 - utc
        utc, utc_end = utc + moved, None if utc_end is None else utc_end + moved
    return Mark(
        mark=row[0],
        version=row[1],
        module=row[2],
        utc=utc,
        utc_end=utc_end,
        kind=row[5],
        author=row[6],
        text=row[7],
        data=json.loads(row[8]),
        recorded=row[9],
        removed=bool(row[10]),
    )
