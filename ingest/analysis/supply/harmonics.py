"""Take harmonic and interharmonic groups of 10/12-cycle windows (IEC 61000-4-7, quoted).

A window is resampled to the measured period before the transform, so that each harmonic falls on its bin.
With 3.2 kS/s the highest honest order is 25 at 50 Hz and 20 at 60 Hz (1250 Hz): above that, interpolation and
the input filter decide.
"""

from dataclasses import dataclass

import numpy as np

from ingest.analysis.supply.compiled import Floats, compiled_any_order

POINTS = 640
"""Points a window, 3.2 kS/s at nominal: what can fold lies above order 25."""
HALF_WIDTH, PHASES, KAISER_BETA = 8, 512, 5.5
HONEST_FRACTION = 1250.0 / 3200.0


def highest_order(rate_hz: float, nominal_hz: float) -> int:
    """Give the highest order that is stated: 25 at 50 Hz and 20 at 60 Hz for 3.2 kS/s."""
    return int(HONEST_FRACTION * rate_hz / nominal_hz + 1e-9)


def _sinc_table() -> Floats:
    """Tabulate a Kaiser-windowed sinc for each fraction of a sample, each row with unit sum."""
    fraction = (np.arange(PHASES) / PHASES)[:, None]
    offset = np.arange(1 - HALF_WIDTH, HALF_WIDTH + 1)[None, :] - fraction
    ratio = np.clip(1.0 - (offset / HALF_WIDTH) ** 2, 0.0, None)
    table = np.sinc(offset) * np.i0(KAISER_BETA * np.sqrt(ratio)) / np.i0(KAISER_BETA)
    return np.asarray(table / table.sum(axis=1, keepdims=True))


SINC = _sinc_table()


@compiled_any_order
def _resample(wave: Floats, begin: Floats, length: Floats, table: Floats, out: Floats) -> None:
    """Fill each row of out with equally spaced points of a window given in samples."""
    phases, taps = table.shape
    points = out.shape[1]
    for row in range(len(begin)):
        step = length[row] / points
        for point in range(points):
            place = begin[row] + point * step
            whole = int(place)
            phase = int((place - whole) * phases + 0.5)
            if phase == phases:
                whole, phase = whole + 1, 0
            first = whole + 1 - taps // 2
            piece, weights = wave[first : first + taps], table[phase]
            total = 0.0
            for tap in range(taps):
                total += weights[tap] * piece[tap]
            out[row, point] = total


def spectra(wave_v: Floats, begin: Floats, length: Floats) -> Floats:
    """Give rms values per bin, one row a window; begin and length in samples, clear of the ends."""
    if len(begin) and (begin.min() < HALF_WIDTH or (begin + length).max() > len(wave_v) - 1 - HALF_WIDTH):
        raise ValueError(f"windows must lie {HALF_WIDTH} samples inside the wave")
    even = np.empty((len(begin), POINTS))
    _resample(wave_v, begin, length, SINC, even)
    rms = np.abs(np.fft.rfft(even, axis=1)) * (np.sqrt(2.0) / POINTS)
    rms[:, 0] /= np.sqrt(2.0)
    return np.asarray(rms)


@dataclass(frozen=True, slots=True, kw_only=True)
class Groups:
    """Hold rms values, one row a window and one column an order from 1.

    line: the bin alone. group, subgroup: harmonic group and subgroup. between, between_centred: interharmonic
    group and centred subgroup that follow the order.
    """

    line: Floats
    group: Floats
    subgroup: Floats
    between: Floats
    between_centred: Floats

    def thd_percent(self, by: str = "subgroup") -> Floats:
        """Give total harmonic distortion against the fundamental; by line, group or subgroup."""
        table: Floats = getattr(self, by)
        distortion = np.sqrt(np.square(table[:, 1:]).sum(axis=1))
        return np.asarray(100.0 * distortion / table[:, 0])


def groups(rms_bins: Floats, cycles: int, orders: int) -> Groups:
    """Sum bins of a window of `cycles` cycles to groups; cycles 10 at 50 Hz, 12 at 60 Hz, 5 Hz apart.

    Group: half of the two bins midway, and all between. Subgroup: the line and its neighbours.
    Interharmonic group: all bins between two lines; centred subgroup: without the lines' neighbours.
    """
    square = np.square(rms_bins)
    half = cycles // 2

    def near(order: int) -> tuple[Floats, ...]:
        at = order * cycles
        inner = square[:, at - half + 1 : at + half].sum(axis=1)
        return (
            square[:, at],
            inner + 0.5 * (square[:, at - half] + square[:, at + half]),
            square[:, at - 1 : at + 2].sum(axis=1),
            square[:, at + 1 : at + cycles].sum(axis=1),
            square[:, at + 2 : at + cycles - 1].sum(axis=1),
        )

    columns = [near(order) for order in range(1, orders + 1)]
    line, group, subgroup, between, centred = (
        np.sqrt(np.stack(parts, axis=1)) for parts in zip(*columns, strict=True)
    )
    return Groups(line=line, group=group, subgroup=subgroup, between=between, between_centred=centred)


def _subgroup_squares(rms_bins: Floats, cycles: int, orders: int) -> Floats:
    """Give the squares of the subgroups alone."""
    square = np.square(rms_bins)
    at = cycles * np.arange(1, orders + 1)
    return np.asarray(square[:, at - 1] + square[:, at] + square[:, at + 1])


def smoothed(values: Floats, step_s: float, time_constant_s: float = 1.5) -> Floats:
    """Smooth groups over successive windows by a first-order filter of 1.5 s (IEC 61000-4-7, from memory)."""
    factor = np.exp(-step_s / time_constant_s)
    out = np.array(values, dtype=np.float64)
    for row in range(1, len(out)):
        out[row] = factor * out[row - 1] + (1.0 - factor) * out[row]
    return out


def snapshot(wave_v: Floats, rate_hz: float, nominal_hz: float) -> Groups | None:
    """Analyse one captured stretch: the 10/12 cycles in its middle. None when its period can't be found.

    The stretch needs 3 cycles more than the window, for the filter that finds the crossings.
    """
    from ingest.analysis.supply.aggregate import cycles_of_window
    from ingest.analysis.supply.windows import Tap, half_cycles, window_start

    tap = Tap(rate_hz=rate_hz, nominal_hz=nominal_hz)
    _, rows = half_cycles(window_start(tap), wave_v, tap, 0.0)
    cycles = cycles_of_window(nominal_hz)
    rising = rows.end_s[rows.rising & ~rows.held] * rate_hz
    rising = rising[(rising >= HALF_WIDTH) & (rising <= len(wave_v) - 1 - HALF_WIDTH)]
    if len(rising) < 2 or rows.held.any():
        return None
    period = (rising[-1] - rising[0]) / (len(rising) - 1)
    length = cycles * period
    begin = min(float(rising[0]), len(wave_v) - 2.0 - HALF_WIDTH - length)
    if begin < HALF_WIDTH:
        return None
    rms = spectra(np.asarray(wave_v, dtype=np.float64), np.array([begin]), np.array([length]))
    return groups(rms, cycles, highest_order(rate_hz, nominal_hz))


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupState:
    """Hold the samples that the next windows may need, and the squares of the open 10-min interval."""

    first_index: int
    tail: Floats
    interval: float
    squares: Floats
    windows: int


def group_start(rate_hz: float, nominal_hz: float) -> GroupState:
    """Begin a record, or begin again after a gap."""
    orders = highest_order(rate_hz, nominal_hz)
    return GroupState(
        first_index=0, tail=np.empty(0), interval=float("nan"), squares=np.zeros(orders), windows=0
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TenMinuteGroups:
    """Hold 10-min subgroups: start_s, rms_v (one column an order from 1), windows joined."""

    start_s: Floats
    rms_v: Floats
    windows: Floats


def running(
    state: GroupState, wave_v: Floats, end_s: Floats, length_s: Floats, *, start_s: float, rate_hz: float,
    nominal_hz: float, final: bool = False,
) -> tuple[GroupState, TenMinuteGroups]:  # fmt: skip
    """Analyse every 10/12-cycle window of a continuous record and join subgroups to 10-min values."""
    wave = np.concatenate((state.tail, wave_v))
    length = length_s * rate_hz
    begin = (end_s - start_s) * rate_hz - length - state.first_index
    usable = (begin >= HALF_WIDTH) & (begin + length <= len(wave) - 1 - HALF_WIDTH)
    cycles = 12 if nominal_hz > 55.0 else 10
    rms = spectra(wave, begin[usable], length[usable])
    squares = _subgroup_squares(rms, cycles, len(state.squares))
    number = np.ceil(end_s[usable] / 600.0 - 1e-9) - 1.0
    interval, total, windows = state.interval, state.squares.copy(), state.windows
    done: list[tuple[float, Floats, int]] = []
    for this in np.unique(number):
        part = squares[number == this]
        if this != interval and windows:
            done.append((interval, total, windows))
            total, windows = np.zeros_like(total), 0
        interval, total, windows = float(this), total + part.sum(axis=0), windows + len(part)
    if final and windows:
        done.append((interval, total, windows))
        total, windows = np.zeros_like(total), 0
    keep = min(len(wave), int(rate_hz * 0.5))
    after = GroupState(
        first_index=state.first_index + len(wave) - keep, tail=wave[len(wave) - keep :].copy(),
        interval=interval, squares=total, windows=windows,
    )  # fmt: skip
    return after, _table(done, len(total))


def _table(done: list[tuple[float, Floats, int]], orders: int) -> TenMinuteGroups:
    """Lay finished intervals out in columns."""
    return TenMinuteGroups(
        start_s=np.array([number * 600.0 for number, _, _ in done]),
        rms_v=np.array([np.sqrt(total / count) for _, total, count in done]).reshape(-1, orders),
        windows=np.array([float(count) for _, _, count in done]),
    )
