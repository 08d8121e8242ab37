"""What the workshop looks at: raw codes, calibrations, the clock's fits, power-ups, the newest health."""

from dataclasses import dataclass

import numpy as np

from firmware_sim.contract import channels, log_codes
from ingest.store.reader.base import Base, unpack_tail
from ingest.store.reader.rows import Floats, Times

_RAW_SCALE = 8  # steps of a raw record in a code, as the contract has it; a test compares


@dataclass(frozen=True, slots=True, kw_only=True)
class RawCodes:
    """Hold raw records: `t` the end of each, its `seconds`; mean, low, high in codes, one column a channel.

    NaN where a channel isn't fitted.
    """

    t: Times
    seconds: Times
    mean: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """Hold where a channel's gain and offset come from, as the module said at `t`.

    `gain` in 1/16384, `offset` in codes, standard uncertainties in ppm and codes; `day` since 1970-01-01.
    """

    t: int
    channel: str
    in_force: bool
    gain: int
    offset: int
    day: int
    points: int
    gain_u_ppm: float
    offset_u: float
    reference: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockFit:
    """Hold one labelling of ticks: rate of the module's ticks against the host, and what it leaves over."""

    t: int
    rate_ppm: float
    residual_ms: int
    module_off_ms: int | None
    step: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """Hold what a module said of itself at `t`; `ring_fill` and `log_fill` are shares, sizes bytes.

    `flash_wear`: erasures of the most used page. `frames_bad`: of the host's, as the module saw them.
    """

    t: int
    tick: int
    loop_us_max: int
    ring_bytes: int
    ring_fill: float
    memory_free: int
    frames_sent: int
    frames_resent: int
    frames_bad: int
    records_lost: int
    flash_wear: int
    resets: int
    log_fill: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerUp:
    """Hold one start of the module: cause (hal.reset_cause) and seconds without power, None unknown."""

    t: int
    cause: int
    off_s: int | None


def raw_codes(base: Base, module: int, start: int, end: int) -> RawCodes:
    """Return the raw records that ended in [start, end)."""
    count = len(channels.CHANNELS)
    times, seconds, parts = [], [], []
    for boot, low, high in base.spans("raw", module, start, end):
        wanted = "SELECT tick, seconds, codes FROM raw WHERE id >= ? AND id < ? ORDER BY id"
        found = base.rows(wanted, (low, high))
        for tick, length, blob in found:
            codes = unpack_tail(blob, "h?", _RAW_SCALE)
            if len(codes) == 3 * count:
                times.append(boot.utc(tick))
                seconds.append(length)
                parts.append(codes.reshape(count, 3))
    table = np.array(parts).reshape(-1, count, 3)
    return RawCodes(
        t=np.array(times, np.int64), seconds=np.array(seconds, np.int64),
        mean=table[:, :, 0], low=table[:, :, 1], high=table[:, :, 2],
    )  # fmt: skip


def calibrations(base: Base, module: int) -> list[Calibration]:
    """Return every calibration that a module ever reported, each once, oldest first."""
    out: list[Calibration] = []
    newest: dict[int, tuple[object, ...]] = {}
    for boot in base.boots(module):
        found = base.rows(
            'SELECT tick, channel, in_force, gain, "offset", day, points, gain_u, offset_u, reference '
            "FROM calibration WHERE id >= ? AND id < ? ORDER BY id",
            (boot.id << 32, (boot.id + 1) << 32),
        )
        for tick, channel, *told in found:
            # Each start of the module repeats what is in force.
            if channel >= len(channels.CHANNELS) or newest.get(channel) == tuple(told):
                continue
            newest[channel] = tuple(told)
            in_force, gain, offset, day, points, gain_u, offset_u, reference = told
            out.append(Calibration(
                t=boot.utc(tick), channel=channels.CHANNELS[channel][1], in_force=bool(in_force), gain=gain,
                offset=offset, day=day, points=points, gain_u_ppm=float(gain_u), offset_u=offset_u / 100,
                reference=reference,
            ))  # fmt: skip
    return out


def clock_fits(base: Base, module: int, most: int) -> list[ClockFit]:
    """Return the newest fits of the newest boot, at most `most`, oldest first."""
    boots = base.boots(module)
    if not boots:
        return []
    boot = boots[-1]
    found = base.rows(
        "SELECT tick, utc0, rate_ppb, residual_ms, module_utc, step FROM clock WHERE boot = ? "
        "ORDER BY tick DESC LIMIT ?",
        (boot.id, most),
    )
    out = []
    for tick, utc0, rate_ppb, residual, module_utc, step in reversed(found):
        utc = utc0 + tick + tick * rate_ppb // 1_000_000_000
        off = None if module_utc is None else module_utc - utc
        out.append(ClockFit(
            t=boot.utc(tick), rate_ppm=rate_ppb / 1000, residual_ms=residual, module_off_ms=off,
            step=bool(step),
        ))  # fmt: skip
    return out


def health(base: Base, module: int) -> Health | None:
    """Return the newest health record, None before the first."""
    names = ("loop_us_max", "ring_bytes", "ring_fill", "memory_free", "frames_sent", "frames_resent",
             "frames_bad", "records_lost", "flash_wear", "resets", "log_fill")  # fmt: skip
    for boot in reversed(base.boots(module)):
        found = base.rows(
            f"SELECT tick, {', '.join(names)} FROM health WHERE id >= ? AND id < ? ORDER BY id DESC LIMIT 1",
            (boot.id << 32, (boot.id + 1) << 32),
        )
        if found:
            tick, *told = found[0]
            row = dict(zip(names, told, strict=True))
            shares = {"ring_fill": row.pop("ring_fill") / 1000, "log_fill": row.pop("log_fill") / 100}
            return Health(t=boot.utc(tick), tick=tick, **row, **shares)
    return None


def power_ups(base: Base, module: int, most: int) -> list[PowerUp]:
    """Return the newest starts of a module, newest first."""
    out: list[PowerUp] = []
    for boot in reversed(base.boots(module)):
        found = base.rows(
            "SELECT tick, first, second FROM log WHERE id >= ? AND id < ? AND tick = 0 AND code = ?",
            (boot.id << 32, (boot.id + 1) << 32, log_codes.POWER_UP),
        )
        # Entries read again from flash carry their own text; the start of this boot has tick 0.
        out += [
            PowerUp(t=boot.utc(tick), cause=cause, off_s=None if off < 0 else off)
            for tick, cause, off in found
        ]  # fmt: skip
        if len(out) >= most:
            break
    return out[:most]
