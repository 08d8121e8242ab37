"""Both supply waves, sample by sample, in integers: 3.2 kS/s, 0.01 V.

The outcome depends on the sample number alone, so any block size and any machine gives the same bits.
"""

from typing import NamedTuple

import numpy as np

from firmware_sim.contract import SUPPLY_RATE_HZ
from firmware_sim.world import supply_truth
from firmware_sim.world.jit import compiled
from firmware_sim.world.noise import STREAM_SAMPLES, stream
from firmware_sim.world.waves import PHASE_MASK, PHASE_TO_INDEX

SAMPLES_PER_STEP = SUPPLY_RATE_HZ // 100
FACTOR_ONE = 1 << 16
NEVER = 1 << 60

OUT_DEAD = 0
OUT_FOLLOWS = 1
OUT_OWN = 2

_HALF_BIT = 1 << 31
_TURN = 1 << 32
_PULL_SHIFT = 11  # the inverter closes a phase error in about 2048 samples
_PULL_MAX = 1_342_177  # 1 Hz: the fastest the inverter may slip towards the input
_NOISE_STEP = np.uint64(0x9E3779B97F4A7C15)
_NOISE_MIX = np.uint64(0xD6E8FEB86659FD93)
_U32, _U40, _U48, _U15 = (np.uint64(n) for n in (32, 40, 48, 15))


class Carrier(NamedTuple):
    """Integer state of both waves; squares in (0.01 V)²."""

    sample: int = 0
    phase_in: int = 0
    phase_out: int = 0
    step_out: int = 0
    peak_in_q8: int = 0
    start_in: int = 0
    sum_in: int = 0
    start_out: int = 0
    sum_out: int = 0
    next_dip: int = 0
    factor_q16: int = FACTOR_ONE
    next_ring: int = 0
    ring_q16: int = 0
    ring_phase: int = 0
    mean_square_in: int = 0
    mean_square_out: int = 0
    outside_halves: int = 0
    inside_halves: int = 0
    rows: int = 0


class Drive(NamedTuple):
    """What holds for one 10 ms step."""

    peak_in_q8: int
    step_in: int
    thd_in_q15: int
    out_kind: int
    gain_out_q16: int
    peak_out_q8: int
    thd_out_q15: int
    step_free: int
    locks: int
    breaker: int
    nominal_square: int
    outside_low: int
    outside_high: int
    inside_low: int
    inside_high: int


class Waves(NamedTuple):
    """Tables and schedules the samples are made from.

    `dips`: rows (sample, factor 1/65536), `rings`: rows (sample, peak 0.01 V, phase step, decay 1/65536);
    both end with a row at `NEVER`.
    """

    sine: np.ndarray
    mains_shape: np.ndarray
    inverter_shape: np.ndarray
    dips: np.ndarray
    rings: np.ndarray


@compiled
def step_samples(
    c: Carrier,
    drive: Drive,
    waves: Waves,
    seed: int,
    out_in: np.ndarray,
    out_out: np.ndarray,
    at: int,
    finders: np.ndarray,
    rows: np.ndarray,
) -> Carrier:
    """Make the 32 samples of one step at `out_*[at:]` and watch the half cycles.  # one loop on purpose

    The amplitude runs in a straight line from the last step's end; a scripted dip acts at its very sample.
    """
    sine, mains_shape, inverter_shape = waves.sine, waves.mains_shape, waves.inverter_shape
    n, phase_in, phase_out, step_out = c.sample, c.phase_in, c.phase_out, c.step_out
    start_in, sum_in, start_out, sum_out = c.start_in, c.sum_in, c.start_out, c.sum_out
    next_dip, factor, next_ring = c.next_dip, c.factor_q16, c.next_ring
    ring, ring_phase = c.ring_q16, c.ring_phase
    mean_square_in, mean_square_out = c.mean_square_in, c.mean_square_out
    outside, inside, row = c.outside_halves, c.inside_halves, c.rows
    peak, slope = c.peak_in_q8, (drive.peak_in_q8 - c.peak_in_q8) // SAMPLES_PER_STEP
    dip_at, ring_at = waves.dips[next_dip, 0], waves.rings[next_ring, 0]
    base = np.uint64(stream(seed, STREAM_SAMPLES))
    for i in range(SAMPLES_PER_STEP):
        while n >= dip_at:
            factor = waves.dips[next_dip, 1]
            next_dip += 1
            dip_at = waves.dips[next_dip, 0]
        if n >= ring_at:
            ring, ring_phase = waves.rings[next_ring, 1] << 16, 0
            next_ring += 1
            ring_at = waves.rings[next_ring, 0]
        peak += slope
        k = np.uint64(phase_in >> PHASE_TO_INDEX)  # unsigned: no test for a negative index
        shape = int(sine[k]) + ((int(mains_shape[k]) * drive.thd_in_q15) >> 13)
        v = (((peak * factor) >> 16) * shape + (1 << 22)) >> 23
        if ring != 0:
            v += ((ring >> 16) * int(sine[ring_phase >> PHASE_TO_INDEX])) >> 15
            ring_phase = (ring_phase + waves.rings[next_ring - 1, 2]) & PHASE_MASK
            ring = (ring * waves.rings[next_ring - 1, 3]) >> 16
        x = np.uint64(n) * _NOISE_STEP + base
        x = (x ^ (x >> _U32)) * _NOISE_MIX
        v += int(np.int64((x >> _U40) & _U15)) - int(np.int64((x >> _U48) & _U15))
        if drive.out_kind == OUT_OWN:
            k = np.uint64(phase_out >> PHASE_TO_INDEX)
            shape = int(sine[k]) + ((int(inverter_shape[k]) * drive.thd_out_q15) >> 13)
            w = (drive.peak_out_q8 * shape + (1 << 22)) >> 23
            after = phase_out + step_out
        else:
            w = (v * drive.gain_out_q16 + (1 << 15)) >> 16
            phase_out = phase_in
            after = phase_out + drive.step_in
        out_in[np.uint64(at + i)] = v
        out_out[np.uint64(at + i)] = w
        sum_in += v * v
        sum_out += w * w
        n += 1
        if ((phase_out ^ after) & _HALF_BIT) != 0:
            count = n - start_out
            mean_square_out = sum_out // count
            row = supply_truth.half_done(
                finders[1], start_out, sum_out, count, drive.nominal_square, rows, row, 1
            )
            start_out, sum_out = n, 0
        phase_out = after & PHASE_MASK
        after = phase_in + drive.step_in
        if ((phase_in ^ after) & _HALF_BIT) != 0:
            count = n - start_in
            mean_square_in = sum_in // count
            row = supply_truth.half_done(
                finders[0], start_in, sum_in, count, drive.nominal_square, rows, row, 0
            )
            start_in, sum_in = n, 0
            seen = mean_square_in * drive.breaker
            is_outside = seen < drive.outside_low or seen > drive.outside_high
            outside = outside + 1 if is_outside else 0
            inside = inside + 1 if drive.inside_low <= seen <= drive.inside_high else 0
            step_out = drive.step_free
            if drive.locks != 0:
                error = (after - phase_out + _TURN + _HALF_BIT) % _TURN - _HALF_BIT
                step_out = drive.step_in + min(max(error >> _PULL_SHIFT, -_PULL_MAX), _PULL_MAX)
        phase_in = after & PHASE_MASK
    return Carrier(
        n, phase_in, phase_out, step_out, drive.peak_in_q8, start_in, sum_in, start_out, sum_out,
        next_dip, factor, next_ring, ring, ring_phase, mean_square_in, mean_square_out, outside, inside, row,
    )  # fmt: skip
