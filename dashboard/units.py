"""Circuit pressure in the unit that a person wants: cmH2O, hPa or mbar. Inside, everything stays cmH2O."""

from dataclasses import replace

from dashboard.frames import Alarm, Breath, Envelope, Limit, NightFrame, NowFrame, Wave
from dashboard.texts import Words
from ingest.analysis.units import CIRCUIT_UNITS, convert

USUAL = CIRCUIT_UNITS[0]


def in_unit(value: float, unit: str) -> float:
    """Return a pressure in cmH2O in a unit of CIRCUIT_UNITS."""
    return value if unit == USUAL else convert(value, USUAL, unit)


def unit_word(unit: str, words: Words) -> str:
    """Return how a unit of CIRCUIT_UNITS is written."""
    return words(f"unit.{unit}")


def night_in(frame: NightFrame, unit: str) -> NightFrame:
    """Return the frame with circuit pressure in a unit."""
    if unit == USUAL:
        return frame
    factor, breaths, wave = in_unit(1.0, unit), frame.breaths, frame.wave
    if breaths is not None:
        breaths = replace(breaths, peak=_times(breaths.peak, factor), end=_times(breaths.end, factor))
    return replace(
        frame,
        pressure=_times(frame.pressure, factor),
        breaths=breaths,
        wave=None if wave is None else Wave(t=wave.t, value=wave.value * factor),
        alarms=[alarm_in(one, unit) for one in frame.alarms],
        limits={
            name: [Limit(since=one.since, value=one.value * factor) for one in kept]
            if name.startswith("pressure.")
            else kept
            for name, kept in frame.limits.items()
        },
    )


def now_in(frame: NowFrame, unit: str) -> NowFrame:
    """Return the frame with circuit pressure in a unit."""
    if unit == USUAL:
        return frame
    factor, change = in_unit(1.0, unit), frame.change
    pressure = change.get("pressure")
    return replace(
        frame,
        breath=None if frame.breath is None else _breath_in(frame.breath, factor),
        change=change if pressure is None else change | {"pressure": pressure * factor},
        limits={n: v * factor if n.startswith("pressure.") else v for n, v in frame.limits.items()},
        standing=[alarm_in(one, unit) for one in frame.standing],
    )


def alarm_in(alarm: Alarm, unit: str) -> Alarm:
    """Return an alarm with value and limit in a unit, where they are pressures of the circuit."""
    if alarm.unit != USUAL or unit == USUAL:
        return alarm
    value, limit = (None if v is None else in_unit(v, unit) for v in (alarm.value, alarm.limit))
    return replace(alarm, value=value, limit=limit, unit=unit)


def _times(values: Envelope, factor: float) -> Envelope:
    return Envelope(low=values.low * factor, high=values.high * factor, mean=values.mean * factor)


def _breath_in(breath: Breath, factor: float) -> Breath:
    return replace(
        breath,
        peak=breath.peak * factor,
        end_expiratory=breath.end_expiratory * factor,
        mean=breath.mean * factor,
    )
