"""What the page Bench shows, from the store; and faults played on an emulated bed, never on a real one."""

from dataclasses import dataclass

import numpy as np

from dashboard.marking import Draft, write
from dashboard.settings import Settings
from ingest.control_client import Client, ask_rig
from ingest.errors import UserError
from ingest.store.reader import LinkSession, Module, Reader, tables
from ingest.store.reader.bench import Calibration, ClockFit, Health, PowerUp

KIND = "fault_played"
# A raw record comes each ten seconds.
BACK_MS, FITS, STARTS = 60_000, 60, 6
# So many channels' sensors are judged by the module, the first of the table.
WATCHED = 5
GAIN_ONE = 16_384
# The line's bytes a second at 230,400 baud, ten bits each; the emulated board's, and usual for a USB serial.
LINE_BYTES_S = 23_040


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelRow:
    """One channel: codes of the last ten seconds, what the module makes of them, and who vouches for it.

    `code` and `value` None where it isn't fitted or not recorded; `due_days` None when nobody vouches.
    """

    name: str
    unit: str
    code: tuple[float, float, float] | None
    value: float | None
    condition: str
    gain: float
    offset: int
    calibration: Calibration | None
    due_days: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """All of the page at one time; None and empty where the store knows nothing."""

    module: Module
    t: int | None
    channels: tuple[ChannelRow, ...]
    health: Health | None
    session: LinkSession | None
    fits: tuple[ClockFit, ...]
    starts: tuple[PowerUp, ...]


def bench(reader: Reader, module: Module, now: int) -> Bench:
    """Gather the newest of everything; `now` in UTC ms."""
    seen = reader.span(module.id)
    end = 0 if seen is None else seen[1] + 1
    sessions = reader.sessions(module.id)
    return Bench(
        module=module, t=seen[1] if seen else None, channels=_channels(reader, module.id, end, now),
        health=reader.health(module.id), session=sessions[-1] if sessions else None,
        fits=tuple(reader.clock_fits(module.id, FITS)), starts=tuple(reader.power_ups(module.id, STARTS)),
    )  # fmt: skip


def _channels(reader: Reader, module: int, end: int, now: int) -> tuple[ChannelRow, ...]:
    raw = reader.raw_codes(module, end - BACK_MS, end)
    history = reader.settings_history(module)
    latest = reader.latest(module)
    newest = {one.channel: one for one in reader.calibrations(module)}
    values = _values(reader, module, raw.t, raw.seconds)
    rows = []
    for place, name in enumerate(tables.CHANNEL_NAMES):
        code = None
        if len(raw.t) and not np.isnan(raw.mean[-1, place]):
            code = (float(raw.mean[-1, place]), float(raw.low[-1, place]), float(raw.high[-1, place]))
        gain, offset = (
            tables.setting_value(history[-1].values, f"calibration.{name}_{part}") if history else default
            for part, default in (("gain", GAIN_ONE), ("offset", 0))
        )
        known = newest.get(name)
        vouched = known is not None and known.in_force and (known.gain, known.offset) == (gain, offset)
        interval = tables.setting_value(history[-1].values, "calibration.interval") if history else 0
        condition = "ok"
        if latest is not None and place < WATCHED:
            condition = tables.sensor_condition(latest.codes["sensors"], name)
        rows.append(ChannelRow(
            name=name, unit=tables.CHANNEL_UNITS[name], code=code, value=values.get(name),
            condition=condition,
            gain=gain / GAIN_ONE, offset=round(offset), calibration=known if vouched else None,
            due_days=round(known.day + interval - now // 86_400_000) if known and vouched else None,
        ))  # fmt: skip
    return tuple(rows)


def _values(reader: Reader, module: int, t: object, seconds: object) -> dict[str, float]:
    """Return the mean of each quantity over the seconds of the newest raw record."""
    times, lengths = np.asarray(t), np.asarray(seconds)
    if not len(times):
        return {}
    end = int(times[-1])
    found = reader.trends(module, end - int(lengths[-1]) * 1000, end + 1, list(tables.CHANNEL_NAMES))
    return {
        name: float(np.nanmean(mean)) for name, mean in found.mean.items() if not np.isnan(mean).all()
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Rig:
    """What may be played on the bed that is shown: names of faults, and the file that repeats them.

    `why`: text key that says why nothing may, None when something may.
    """

    faults: tuple[str, ...] = ()
    file: str = ""
    why: str | None = None


def rig_of(settings: Settings, module: Module) -> Rig:
    """Return what may be played on a module; never anything on a real one."""
    if not module.emulated:
        return Rig(why="bench.real")
    if settings.rig is None:
        return Rig(why="bench.no_rig")
    try:
        told = ask_rig(settings.rig, {"do": "status"})
    except UserError:
        return Rig(why="bench.rig_gone")
    if told.get("module") != module.id or told.get("emulated") is not True:
        return Rig(why="bench.other_rig")
    return Rig(faults=tuple(map(str, told.get("faults", ()))), file=str(told.get("file", "")))


def play(settings: Settings, module: Module, fault: str, who: str) -> tuple[float, str]:
    """Play a fault on an emulated bed; return when, in s of its scenario, and the file that repeats it.

    Raise UserError when the module that is connected now isn't emulated, or the board refuses. Who did it
    and when is written into the store before it is played.
    """
    rig = rig_of(settings, module)
    if rig.why is not None or settings.rig is None or fault not in rig.faults:
        raise UserError("No such fault can be played on this module.")
    live = [link for link in Client(settings.store).status()["links"] if link["module"] == module.id]
    if not live or not all(link["emulated"] is True for link in live):
        raise UserError("The daemon doesn't know this module as an emulated one; nothing was played.")
    now = settings.clock()
    write(settings.store, module.id, Draft(utc=now, kind=KIND, author=who, text=fault), now)
    told = ask_rig(settings.rig, {"do": "fault", "fault": fault, "by": who})
    return float(told["t_s"]), str(told["file"])
