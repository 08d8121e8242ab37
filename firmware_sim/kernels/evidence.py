"""Compare the two supply taps: does the output's waveform repeat the input's?

Both taps are folded over the same 8 cycles (64 bins, linear interpolation), the
fundamental is taken out, and what is left is averaged over about 8 calls. The input's remainder, scaled
by the ratio of the fundamentals and shifted by their delay, is the best copy that a bypass could give:
the rms of the difference is the residual, its least-squares coefficient the share of the input's
distortion that passes (about 1 in bypass, about 0 behind a double conversion).
"""

from firmware_sim.kernels.supply import BLOCK, COMMON, FREQUENCY, GUARD, RING, RISE, SLOTS, TAP

BINS = 64
FOLD_CYCLES = 8
SAMPLES = SLOTS * BLOCK
BIN_MAX = 4000  # 250 codes in 1/16 code: more is clamped

# Words of the comparison ('i', COMPARE_WORDS).
COMPARED = 0  # calls since the last restart
DISTORTION = 1  # of the input, 0.001 % of the fundamental
RESIDUAL = 2  # 0.001 % of the fundamental
PASSED = 3  # share of the input's distortion found at the output, 1/1000
PHASE = 4  # output behind input, 0.01 degrees, -18000..18000
SIZE_IN = 5  # amplitude of the fundamental, 1/4 code
SIZE_OUT = 6
REST_IN = 16
REST_OUT = REST_IN + BINS
FOLDED = REST_OUT + BINS
COMPARE_WORDS = FOLDED + BINS

# 16384 sin(2 pi n / 64), n to 79, so that the cosine is 16 further on.
SINE = (
    0, 1606, 3196, 4756, 6270, 7723, 9102, 10394, 11585, 12665,
    13623, 14449, 15137, 15679, 16069, 16305, 16384, 16305, 16069, 15679,
    15137, 14449, 13623, 12665, 11585, 10394, 9102, 7723, 6270, 4756,
    3196, 1606, 0, -1606, -3196, -4756, -6270, -7723, -9102, -10394,
    -11585, -12665, -13623, -14449, -15137, -15679, -16069, -16305, -16384, -16305,
    -16069, -15679, -15137, -14449, -13623, -12665, -11585, -10394, -9102, -7723,
    -6270, -4756, -3196, -1606, 0, 1606, 3196, 4756, 6270, 7723,
    9102, 10394, 11585, 12665, 13623, 14449, 15137, 15679, 16069, 16305,
)


def compare_taps(ring, state, compare):
    """Renew `compare` from the last 8 cycles in the ring: once a second, while both taps are steady."""
    t = COMMON
    if state[t + FREQUENCY] < 40000:
        return
    period = 819200000 // state[t + FREQUENCY]
    delay = state[t + TAP + RISE] - state[t + RISE]
    delay -= (delay + (period >> 1)) // period * period
    compare[PHASE] = delay * 36000 // period
    start = state[t + RISE] - FOLD_CYCLES * period
    slot = state[0] % SLOTS * BLOCK
    calls = compare[COMPARED]
    compare[COMPARED] = calls + 1
    share = calls + 1 if calls < 8 else 8
    for tap in range(2):
        _fold(ring, tap, slot, start, period, compare)
        compare[SIZE_IN + tap] = _take_out_fundamental(compare, REST_IN + tap * BINS, share)
    _fit(compare, delay * 16384 // period)


def compare_reset(compare):
    """Forget what was averaged: the supply was not steady."""
    for n in range(len(compare)):
        compare[n] = 0


def _fold(ring, tap, slot, start, period, compare):
    base = tap * RING + GUARD
    for n in range(BINS):
        position = start + period * n // BINS
        total = 0
        for _ in range(FOLD_CYCLES):
            at = slot + (position >> 8)
            if at < 0:
                at += SAMPLES
            following = at + 1
            if following >= SAMPLES:
                following -= SAMPLES
            part = position & 255
            total += ring[base + at] * (256 - part) + ring[base + following] * part
            position += period
        compare[FOLDED + n] = total >> 7


def _take_out_fundamental(compare, rest, share):
    """Average what is not the fundamental into the bins at `rest`; return the amplitude in 1/4 code."""
    mean = 0
    sine = 0
    cosine = 0
    for n in range(BINS):
        value = compare[FOLDED + n]
        mean += value
        sine += value * SINE[n] >> 8
        cosine += value * SINE[n + 16] >> 8
    mean = mean >> 6
    sine = (sine + 1024) >> 11
    cosine = (cosine + 1024) >> 11
    for n in range(BINS):
        fundamental = (sine * SINE[n] + cosine * SINE[n + 16]) >> 10
        value = (compare[FOLDED + n] - mean) * 16 - fundamental
        compare[rest + n] += (value - compare[rest + n]) // share
    sine = sine >> 2
    cosine = cosine >> 2
    return whole_root(sine * sine + cosine * cosine)


def _fit(compare, shift):
    """Compare the remainders; `shift` is the output's delay in 1/256 bin."""
    size = compare[SIZE_OUT]
    if size < 16 or compare[SIZE_IN] < 16:
        return
    gain = size * 1024 // compare[SIZE_IN]
    if gain > 8192:
        gain = 8192
    copied = 0
    both = 0
    rest = 0
    for n in range(BINS):
        position = n * 256 - shift
        at = (position >> 8) % BINS
        part = position & 255
        value = compare[REST_IN + at] * (256 - part) + compare[REST_IN + (at + 1) % BINS] * part
        copy = _clamp((value >> 12) * gain >> 10)
        output = _clamp(compare[REST_OUT + n] >> 4)
        copied += copy * copy
        both += copy * output
        rest += _clamp(output - copy) * _clamp(output - copy)
    scale = size * 4000 // 1414
    compare[DISTORTION] = whole_root(copied) * 12500 // scale
    compare[RESIDUAL] = whole_root(rest) * 12500 // scale
    unit = copied // 1000
    if unit == 0:
        compare[PASSED] = 0
    else:
        passed = both // unit
        compare[PASSED] = passed if -30000 < passed < 30000 else 30000


def _clamp(value):
    if value > BIN_MAX:
        return BIN_MAX
    if value < -BIN_MAX:
        return -BIN_MAX
    return value


def whole_root(square):
    """Return the whole root of an integer below 2^30."""
    if square < 1:
        return 0
    root = 32768
    while True:
        better = (root + square // root) >> 1
        if better >= root:
            return root
        root = better
