"""The newest state of a module, for the page Now."""

from firmware_sim.contract import messages
from ingest.store.reader import alarms, places
from ingest.store.reader.base import Base
from ingest.store.reader.rows import Latest
from ingest.store.schema import BANDS, SEQ_BITS, field_rows

_FIELDS = field_rows(messages.TREND)
_CODES = (*BANDS, "pause_left")


def latest(base: Base, module: int) -> Latest | None:
    """Return the newest trend of the newest boot, None before the first one."""
    described = next((one for one in places.modules(base) if one.id == module), None)
    if described is None:
        return None
    listed = ", ".join(field[0] for field in _FIELDS)
    for boot in reversed(base.boots(module)):
        found = base.rows(
            f"SELECT tick, {listed} FROM trend WHERE id > ? AND id < ? ORDER BY id DESC LIMIT 1",
            (boot.id << SEQ_BITS, (boot.id + 1) << SEQ_BITS),
        )
        if not found:
            continue
        tick, *values = found[0]
        t = boot.utc(tick)
        row = dict(zip((field[0] for field in _FIELDS), values, strict=True))
        scales = {field[0]: field[3] for field in _FIELDS}
        readings = {
            name: None if value is None else value / scales[name]
            for name, value in row.items()
            if name not in _CODES
        }
        standing = tuple(
            one for one in alarms.intervals(base, module, t, boot.utc(boot.last_tick) + 1) if one.end is None
        )
        sessions = places.sessions(base, module)
        return Latest(
            module=described,
            t=t,
            tick=tick,
            boot=boot.id,
            readings=readings,
            codes={name: row[name] for name in _CODES},
            standing=standing,
            link=sessions[-1] if sessions else None,
        )
    return None


def last_breath(base: Base, module: int) -> int | None:
    """Return when the newest breath of a module was recorded, in UTC ms; None: none ever."""
    for boot in reversed(base.boots(module)):
        found = base.rows(
            "SELECT tick FROM breath WHERE id > ? AND id < ? ORDER BY id DESC LIMIT 1",
            (boot.id << SEQ_BITS, (boot.id + 1) << SEQ_BITS),
        )
        if found:
            return boot.utc(int(found[0][0]))
    return None
