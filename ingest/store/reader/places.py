"""Modules, nights, and what was not recorded."""

from ingest.records import COUNTERS
from ingest.store.reader.base import Base
from ingest.store.reader.rows import Interval, LinkSession, Module, Night
from ingest.store.schema import SEQ_BITS

DAY_MS = 86_400_000
NOON_MS = DAY_MS // 2


def modules(base: Base) -> list[Module]:
    """Return all modules in order of first contact."""
    found = base.rows(
        "SELECT id, emulated, profile, firmware, nominal_v, nominal_hz, site, bed, first_utc, "
        "last_utc FROM module ORDER BY first_utc, id"
    )
    return [
        Module(
            id=row[0],
            emulated=bool(row[1]),
            profile=row[2],
            firmware=row[3],
            nominal_v=row[4],
            nominal_hz=row[5],
            site=row[6],
            bed=row[7],
            first_utc=row[8],
            last_utc=row[9],
        )
        for row in found
    ]


def stretch(base: Base, module: int, start: int, end: int) -> Night:
    """Return [start, end) as a night: what was watched of it, and how many alarms began in it."""
    from ingest.store.reader.alarms import intervals

    watched = sum(one.end - one.start for one in monitored(base, module, start, end))
    begun = sum(start <= one.start < end for one in intervals(base, module, start, end))
    return Night(
        module=module, start=start, end=end, first=start, last=end, monitored_ms=watched, alarms=begun
    )


def monitored(base: Base, module: int, start: int, end: int) -> list[Interval]:
    """Return the stretches inside [start, end) with a trend each second, merged and in order of UTC."""
    found = []
    for boot in base.boots(module):
        for first, last in base.rows(
            "SELECT first_tick, last_tick FROM run WHERE boot = ? ORDER BY first_tick", (boot.id,)
        ):
            # A trend speaks for the second before its tick.
            low, high = max(boot.utc(first - 1000), start), min(boot.utc(last), end)
            if low < high:
                found.append((low, high))
    merged: list[list[int]] = []
    for low, high in sorted(found):
        if merged and low <= merged[-1][1]:
            merged[-1][1] = max(merged[-1][1], high)
        else:
            merged.append([low, high])
    return [Interval(start=low, end=high, reason="monitored") for low, high in merged]


def unmonitored(base: Base, module: int, start: int, end: int) -> list[Interval]:
    """Return what is left of [start, end) when the monitored stretches are taken away."""
    out = []
    at = start
    for stretch in [*monitored(base, module, start, end), Interval(start=end, end=end, reason="")]:
        if stretch.start > at:
            out.append(Interval(start=at, end=stretch.start, reason="unmonitored"))
        at = max(at, stretch.end)
    return out


def gaps(base: Base, module: int, start: int, end: int) -> list[Interval]:
    """Return the stretches from which records are missing for good, with the reason."""
    out = []
    for boot in base.boots(module):
        for low, high, reason in base.rows(
            "SELECT from_tick, to_tick, reason FROM gap WHERE boot = ? ORDER BY from_tick", (boot.id,)
        ):
            if boot.utc(high) >= start and boot.utc(low) < end:
                out.append(Interval(start=boot.utc(low), end=boot.utc(high), reason=reason))
    return out


def span(base: Base, module: int | None) -> tuple[int, int] | None:
    """Return first and last UTC of the trends of one module (None: of all), None when there are none."""
    ids = [module] if module is not None else [one.id for one in modules(base)]
    ends: list[int] = []
    for one in ids:
        for boot in base.boots(one):
            first, last = base.rows(
                "SELECT min(first_tick), max(last_tick) FROM run WHERE boot = ?", (boot.id,)
            )[0]
            if first is not None:
                ends += [boot.utc(first - 1000), boot.utc(last)]
    return (min(ends), max(ends)) if ends else None


def nights(base: Base, module: int, offset_ms: int) -> list[Night]:
    """Return each noon-to-noon day with data, oldest first; `offset_ms` is local time minus UTC."""
    whole = span(base, module)
    if whole is None:
        return []
    stretches = monitored(base, module, whole[0], whole[1])
    days: dict[int, list[tuple[int, int]]] = {}
    for stretch in stretches:
        day = (stretch.start + offset_ms - NOON_MS) // DAY_MS
        while day * DAY_MS + NOON_MS - offset_ms < stretch.end:
            low = day * DAY_MS + NOON_MS - offset_ms
            days.setdefault(day, []).append((max(low, stretch.start), min(low + DAY_MS, stretch.end)))
            day += 1
    out = []
    for day, parts in sorted(days.items()):
        low = day * DAY_MS + NOON_MS - offset_ms
        out.append(
            Night(
                module=module,
                start=low,
                end=low + DAY_MS,
                first=parts[0][0],
                last=parts[-1][1],
                monitored_ms=sum(high - first for first, high in parts),
                alarms=_count(base, "alarm", module, parts[0][0], parts[-1][1] + 1),
            )
        )
    return out


def _count(base: Base, table: str, module: int, start: int, end: int) -> int:
    return sum(
        int(base.rows(f"SELECT count(*) FROM {table} WHERE id >= ? AND id < ?", (low, high))[0][0])
        for _, low, high in base.spans(table, module, start, end)
    )


def sessions(base: Base, module: int) -> list[LinkSession]:
    """Return the link sessions of a module, oldest first."""
    listed = ", ".join(f"session.{name}" for name in COUNTERS)
    found = base.rows(
        "SELECT session.link, session.boot, session.opened_utc, session.seen_utc, session.closed_utc, "
        f"session.reason, {listed} FROM session JOIN boot ON boot.id = session.boot WHERE boot.module = ? "
        "ORDER BY session.opened_utc, session.id",
        (module,),
    )
    return [
        LinkSession(
            link=row[0],
            boot=row[1],
            opened=row[2],
            seen=row[3],
            closed=row[4],
            reason=row[5],
            counters=dict(zip(COUNTERS, row[6:], strict=True)),
        )
        for row in found
    ]


def boot_key(row_id: int) -> int:
    """Return the boot of a record's id."""
    return row_id >> SEQ_BITS
