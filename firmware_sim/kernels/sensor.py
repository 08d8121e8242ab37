"""Converter codes to quantities, and what the codes tell about the sensor behind them."""

from firmware_sim.kernels.breath import (
    AGE,
    BLOCK_MAX,
    BLOCK_MIN,
    BREATH_STATE,
    LAST_END,
    LAST_PEAK,
    RATE,
    breath_block,
    breath_rate,
)

NONE = -0x3FFFFFFF - 1

# Words of the statistics of one channel; the reader takes and clears those from LOWS on each second.
RUN = 0  # samples in a row with the same code
LAST = 1
BEFORE = 2
LOWS = 3  # samples at the lower end of the converter
HIGHS = 4
ROUGH = 5  # samples whose second difference passes the channel's bound
SUM = 6
COUNT = 7
MIN = 8
MAX = 9
SENSOR_WORDS = 10
RUN_MAX = 1 << 29
NEAR = 2  # codes: an open or shorted input still carries the converter's noise

# Words of the pressure channel, behind those of the breaths.
STATISTICS = BREATH_STATE
P_OFFSET = STATISTICS + SENSOR_WORDS
P_GAIN = P_OFFSET + 1
# What the breaths look like from outside; NONE until one is sure.
P_BREATH_AGE = P_GAIN + 1  # blocks
P_PEAK = P_GAIN + 2
P_END = P_GAIN + 3
P_RATE = P_GAIN + 4
P_SECOND_LOW = P_GAIN + 5  # within the second in hand
P_SECOND_HIGH = P_GAIN + 6
PRESSURE_STATE = P_GAIN + 7
P_LOW, P_SPAN, P_CODES = -3000, 15000, 4095  # -30 to 120 cmH2O over 12 bits
P_ROUGH = 55  # 2 cmH2O


def pressure_block(codes, first, count, wave, state, records):
    """Turn `count` codes into `wave` (0.01 cmH2O, not filtered), keep statistics, and look for breaths."""
    sensor_block(codes, first, count, state, STATISTICS, 0, P_CODES, P_ROUGH)
    convert_block(codes, first, count, P_LOW, P_SPAN, state[P_OFFSET], state[P_GAIN], wave)
    breath_block(wave, count, state, records)
    rate = breath_rate(state)
    state[RATE] = rate
    age = state[AGE] // count
    if age < state[P_BREATH_AGE]:
        state[P_PEAK] = state[LAST_PEAK]
        state[P_END] = state[LAST_END]
    state[P_BREATH_AGE] = age
    if state[P_PEAK] != NONE:
        state[P_RATE] = rate if rate else NONE
    if state[BLOCK_MAX] > state[P_SECOND_HIGH]:
        state[P_SECOND_HIGH] = state[BLOCK_MAX]
    if state[BLOCK_MIN] < state[P_SECOND_LOW]:
        state[P_SECOND_LOW] = state[BLOCK_MIN]


def convert_block(codes, first, count, low, span, offset, gain, values):
    """Turn 12-bit codes from place `first` into integers: `low` at code 0, `low + span` at 4095.

    `offset` (codes) is taken off first, then `gain` (16384 is one) acts on the quantity itself.
    """
    for n in range(count):
        value = ((codes[first + n] - offset) * span + 2047) // 4095 + low
        value += (value * (gain - 16384) + 8192) >> 14
        if value > 32767:
            value = 32767
        elif value < -32767:
            value = -32767
        values[n] = value


def sensor_block(codes, first, count, statistics, base, low, high, rough):
    """Add `count` codes (1 or more) from place `first` to the statistics at `base`.

    `low` and `high` are the ends of the converter.
    """
    run = statistics[base + RUN]
    last = statistics[base + LAST]
    before = statistics[base + BEFORE]
    roughs = 0
    lows = 0
    highs = 0
    total = 0
    least = codes[first]
    most = least
    if statistics[base + COUNT]:
        least = statistics[base + MIN]
        most = statistics[base + MAX]
    low += NEAR
    high -= NEAR
    for n in range(first, first + count):
        code = codes[n]
        if code == last:
            if run < RUN_MAX:
                run += 1
        else:
            run = 1
        bend = code - 2 * last + before
        if bend > rough or bend < -rough:
            roughs += 1
        if code <= low:
            lows += 1
        if code >= high:
            highs += 1
        if code < least:
            least = code
        if code > most:
            most = code
        total += code
        before = last
        last = code
    statistics[base + RUN] = run
    statistics[base + LAST] = last
    statistics[base + BEFORE] = before
    statistics[base + LOWS] += lows
    statistics[base + HIGHS] += highs
    statistics[base + ROUGH] += roughs
    statistics[base + SUM] += total
    statistics[base + COUNT] += count
    statistics[base + MIN] = least
    statistics[base + MAX] = most


def sensor_clear(statistics, base):
    """Begin a new second of statistics; the run of equal codes goes on."""
    for n in range(LOWS, SENSOR_WORDS):
        statistics[base + n] = 0
