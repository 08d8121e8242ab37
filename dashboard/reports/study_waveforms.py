"""Name the disturbance in each waveform that was captured around an event, by the rules of the analysis."""

from dataclasses import dataclass

from ingest.analysis.supply.disturbances import label
from ingest.store.reader import Capture, Reader, tables

RATE_HZ, DAY_MS = 3200.0, 86_400_000
CYCLES_MIN = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Waveform:
    """Hold one captured waveform's beginning and its name: one of LABELS, None where parts were lost."""

    start_s: float
    disturbance: str | None


def waveforms_of(
    reader: Reader, module: int, start: int, end: int, tap: int, nominal_v: float | None,
    nominal_hz: float | None,
) -> tuple[Waveform, ...]:  # fmt: skip
    """Return the waveforms of events on one tap, start <= t < end (UTC ms); none without nominal values."""
    if nominal_v is None or nominal_hz is None:
        return ()
    kind = tables.CAPTURE_KINDS.index("event")
    return tuple(
        Waveform(start_s=one.start / 1000, disturbance=name_of(one, nominal_v, nominal_hz))
        for day in range(start, end, DAY_MS)
        for one in reader.captures(module, day, min(end, day + DAY_MS), kind)
        if one.tap == tap
    )


def name_of(one: Capture, nominal_v: float, nominal_hz: float) -> str | None:
    """Return the name of a waveform, None where parts were lost or it is too short to tell."""
    if not one.complete or len(one.codes) < CYCLES_MIN * RATE_HZ / nominal_hz:
        return None
    return label(one.volts, RATE_HZ, nominal_v, nominal_hz)
