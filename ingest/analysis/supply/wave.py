"""Analyse a continuous waveform block by block: windows, events, aggregates, frequency, harmonics, flicker.

One state goes in, one comes out; `saved` turns it to bytes between blocks, and the results do not depend on
how the record is cut.
"""

import io
import pickle
from dataclasses import dataclass, replace

import numpy as np

from ingest.analysis.supply import aggregate, events, flicker, harmonics, rapid, windows
from ingest.analysis.supply.aggregate import NO_VALUES, Frequencies, Values
from ingest.analysis.supply.compiled import Bools, Codes, Floats
from ingest.analysis.supply.records import SupplyEvent
from ingest.analysis.supply.windows import HalfCycles, Tap

CHUNK = 1 << 16
"""Samples worked at a time, so that they stay in the processor's cache."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WaveSettings:
    """Say how a record is judged. declared_v: the nominal voltage. lamp None: no flicker is taken.

    sliding: dips and swells are measured against the sliding reference instead of the declared voltage.
    """

    tap: Tap
    declared_v: float
    thresholds: events.Thresholds = events.USUAL
    lamp: flicker.Lamp | None = flicker.LAMP_230_V
    sliding: bool = False
    rapid_threshold: float = rapid.THRESHOLD


@dataclass(frozen=True, slots=True, kw_only=True)
class WaveState:
    """Hold everything the next block needs. Start with `wave_start`."""

    start_s: float
    samples: int
    windows: windows.WindowState
    detector: events.DetectorState
    rapid: rapid.RapidState
    halves: aggregate.HalvesLeft
    fifteen: Values
    ten_minutes: Values
    two_hours: Values
    cycles: aggregate.CyclesLeft
    groups: harmonics.GroupState
    meter: flicker.MeterState
    reference_v: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WaveFindings:
    """Hold what a block completed."""

    half_cycles: HalfCycles
    in_event: Bools
    events: tuple[SupplyEvent, ...]
    ten_cycles: Values
    hundred_fifty: Values
    ten_minutes: Values
    two_hours: Values
    frequency: Frequencies
    harmonics: harmonics.TenMinuteGroups
    pst: tuple[tuple[float, float], ...]
    reference_v: float


def wave_start(settings: WaveSettings, start_s: float) -> WaveState:
    """Begin a record at a time."""
    tap = settings.tap
    return WaveState(
        start_s=start_s,
        samples=0,
        windows=windows.window_start(tap),
        detector=events.DetectorState(),
        rapid=rapid.rapid_start(tap.nominal_hz),
        halves=aggregate.halves_start(),
        fifteen=NO_VALUES,
        ten_minutes=NO_VALUES,
        two_hours=NO_VALUES,
        cycles=aggregate.cycles_start(),
        groups=harmonics.group_start(tap.rate_hz, tap.nominal_hz),
        meter=flicker.meter_start(),
        reference_v=settings.declared_v,
    )


def wave_resume(state: WaveState, settings: WaveSettings, start_s: float) -> WaveState:
    """Begin again after a time without samples: open events and clock intervals go on, windows do not."""
    fresh = wave_start(settings, start_s)
    return replace(
        fresh,
        detector=events.after_gap(state.detector, start_s),
        ten_minutes=state.ten_minutes,
        two_hours=state.two_hours,
        reference_v=state.reference_v,
    )


def saved(state: WaveState) -> bytes:
    """Turn a state to bytes."""
    return pickle.dumps(state, protocol=5)


def restored(data: bytes) -> WaveState:
    """Bring back a state that this program saved; refuse anything else."""
    state = _OwnTypes(io.BytesIO(data)).load()
    if not isinstance(state, WaveState):
        raise ValueError("these bytes are not a saved state of the waveform analysis")
    return state


class _OwnTypes(pickle.Unpickler):
    """Load only arrays and the states of this package, so that foreign bytes can't run anything."""

    def find_class(self, module: str, name: str) -> object:
        own = module.startswith("ingest.analysis.supply.") and name[:1].isupper()
        array = (module.partition(".")[0] == "numpy") and name in {
            "ndarray",
            "dtype",
            "_reconstruct",
            "_frombuffer",
        }
        if not own and not array:
            raise ValueError(f"a saved state holds no {module}.{name}")
        return super().find_class(module, name)


def analyse(
    state: WaveState, codes: Codes, settings: WaveSettings, final: bool = False
) -> tuple[WaveState, WaveFindings]:
    """Analyse the next samples. final: the record ends here, so open intervals are given as they are."""
    parts: list[WaveFindings] = []
    for begin in range(0, len(codes), CHUNK):
        state, found = _chunk(
            state, codes[begin : begin + CHUNK], settings, final and begin + CHUNK >= len(codes)
        )
        parts.append(found)
    if not parts:
        state, found = _chunk(state, np.empty(0), settings, final)
        parts.append(found)
    return state, _joined(parts)


def _chunk(
    state: WaveState, codes: Codes, settings: WaveSettings, final: bool
) -> tuple[WaveState, WaveFindings]:
    """Run one chunk through every stage in order."""
    tap, start_s = settings.tap, state.start_s
    cut, rows = windows.half_cycles(state.windows, codes, tap, start_s)
    detector, ended, inside = events.detect(
        state.detector,
        rows,
        state.reference_v if settings.sliding else settings.declared_v,
        settings.thresholds,
    )
    steps, changes = rapid.rapid_changes(
        state.rapid, rows, inside, settings.declared_v, settings.rapid_threshold
    )
    halves, ten = aggregate.ten_cycles(state.halves, rows, inside, tap.nominal_hz)
    fifteen, hundred_fifty = aggregate.fifteen(state.fifteen, ten)
    left_10, ten_minutes = aggregate.by_clock(state.ten_minutes, ten, aggregate.TEN_MINUTES_S, final)
    left_2h, two_hours = aggregate.by_clock(state.two_hours, ten_minutes, aggregate.TWO_HOURS_S, final)
    cycles, frequency = aggregate.ten_seconds(state.cycles, rows, final)
    groups, spectrum = harmonics.running(
        state.groups, tap.gain_v * np.asarray(codes, dtype=np.float64), ten.end_s, ten.covered_s,
        start_s=start_s, rate_hz=tap.rate_hz, nominal_hz=tap.nominal_hz, final=final,
    )  # fmt: skip
    meter, pst = state.meter, list[tuple[float, float]]()
    if settings.lamp is not None:
        meter, pst = flicker.ten_minutes(
            state.meter, codes, start_s=start_s, rate_hz=tap.rate_hz, offset=tap.offset_v / tap.gain_v,
            lamp=settings.lamp,
        )  # fmt: skip
    slid = events.sliding_reference(state.reference_v, ten.rms_v, ten.flagged)
    reference_v = float(slid[-1]) if len(slid) else state.reference_v
    after = WaveState(
        start_s=start_s, samples=state.samples + len(codes), windows=cut, detector=detector, rapid=steps,
        halves=halves, fifteen=fifteen, ten_minutes=left_10, two_hours=left_2h, cycles=cycles, groups=groups,
        meter=meter, reference_v=reference_v,
    )  # fmt: skip
    last = events.close(detector) if final else []
    found = WaveFindings(
        half_cycles=rows, in_event=inside, events=(*ended, *changes, *last), ten_cycles=ten,
        hundred_fifty=hundred_fifty, ten_minutes=ten_minutes, two_hours=two_hours, frequency=frequency,
        harmonics=spectrum, pst=tuple(pst), reference_v=reference_v,
    )  # fmt: skip
    return after, found


def _columns(rows: list[object], kind: type) -> dict[str, Floats]:
    """Put the columns of several tables one after the other."""
    return {name: np.concatenate([getattr(row, name) for row in rows]) for name in kind.__slots__}  # type: ignore[attr-defined]


def _joined(parts: list[WaveFindings]) -> WaveFindings:
    """Join what the chunks completed."""
    tables = {
        "half_cycles": HalfCycles, "ten_cycles": Values, "hundred_fifty": Values, "ten_minutes": Values,
        "two_hours": Values, "frequency": Frequencies, "harmonics": harmonics.TenMinuteGroups,
    }  # fmt: skip
    columns = {
        name: kind(**_columns([getattr(part, name) for part in parts], kind)) for name, kind in tables.items()
    }
    return replace(
        parts[-1],
        in_event=np.concatenate([part.in_event for part in parts]),
        events=tuple(sorted((e for part in parts for e in part.events), key=lambda e: e.start_s)),
        pst=tuple(value for part in parts for value in part.pst),
        **columns,
    )
