"""Measure both supply taps: one 100 ms block of 320 sample pairs a call, integers only.

For each tap a linear-phase low-pass (two moving sums of 32 and 21 samples, delay 25.5 samples at every
frequency) finds the zero crossings of the fundamental to 1/256 sample; between two crossings the squares of
the raw samples are summed, the first and last sample weighted by the fraction inside. Two neighbouring half
cycles make Urms(1/2). Where crossings vanish or jump, windows go on with the last half period.

Positions are in 1/256 sample from the first sample of the block in hand (81920 a block, negative for the
past), voltages in 0.01 V. All state is in array.array('i'), nothing is allocated, no intermediate reaches
2^30. Names of the words below are the only description of the layout.
"""

NONE = -0x3FFFFFFF - 1
BLOCK = 320  # samples a tap a block: 100 ms at 3200 a second
GUARD = 128  # samples kept before the ring, so that history never wraps
SLOTS = 16  # blocks in the ring: 1.6 s
RING = GUARD + SLOTS * BLOCK  # words of ring a tap
MASK = 0x3FFF  # changes no index; tells the compiler that it can't be negative
SPAN = BLOCK * 256
LONG, SHORT = 32, 21  # moving sums of the low-pass; nulls at 100 and 152 Hz multiples
LEVEL = LONG * SHORT  # gain at DC
DELAY = (LONG + SHORT - 2) * 128  # 25.5 samples
SLOPE_MIN = 280  # a crossing less steep belongs to less than 8 codes (3.1 V) of fundamental
STRAY = 256  # a crossing further than one sample from where it was due is doubted
CLOSE = 40  # ... further than this, unless slope and spacing are those of the crossing before: a step of the
STEP_SHIFT = 5  # amplitude moves crossings within the filter's reach, and their slopes, by more than 1/32
EVEN = 128  # spacings that differ by less are equal
DOUBTS_MAX = 4  # half cycles in a row that may be doubted before the windows move to the crossings
SETTLING = 8  # half cycles after an interruption until they surely have: two rounds of doubts
STEADY_MIN = 3  # equal spacings in a row that are believed against the half period in use
SPACING_MIN, SPACING_MAX = 5120, 11264  # half period: 80 to 36 Hz
ROOT_MAX = 640000  # 2500 codes: full scale and the largest offset
WARM_UP = 8  # half cycles after the start that tell nothing
HALVES = 256  # entries of the half-cycle ring a tap
EVENT_WORDS = 12
EVENTS_MAX = 64

# Words common to both taps.
AT_BLOCK = 0  # number of the block in hand, from 0
EVENT_COUNT = 1  # event records written by the last call
EVENT_NEXT = 2  # number of the next event
DIP_ON = 3
DIP_OFF = 4
SWELL_ON = 5
SWELL_OFF = 6
INTERRUPTION = 7
CYCLES = 8  # cycles of one aggregate: 10 at 50 Hz, 12 at 60 Hz
NOMINAL = 9
COMMON = 16

# Words of a tap, from COMMON + tap * TAP.
GAIN = 0  # 16384 is one; 20 % either way
OFFSET = 1  # codes
FILTER_Y = 2
FILTER_D = 3
ABOVE = 4
LAST = 5  # position of the last window edge
HALF = 6  # half period
DOUBTS = 7
CROSSING = 8  # position of the last crossing seen, doubted or not
SPACING = 9
PAST_SQUARES = 10  # the half cycle before
PAST_LENGTH = 11
PAST_CLIPPED = 12
PAST_GOOD = 13
ROOT = 14  # last root, 1/256 code: where the next search begins
WARM = 15
HALF_AT = 16  # next entry of the half-cycle ring
RISE = 17  # position of the last rising crossing that was not doubted
LOW = 18  # Urms(1/2) within this block
HIGH = 19
CLIPPED = 20
EVENT_KIND = 21  # 0 none, 1 below, 2 above
EVENT_ID = 22
EVENT_BLOCK = 23
EVENT_POSITION = 24
EVENT_EXTREME = 25
EVENT_FLAGS = 26
SECOND_LOW = 27
SECOND_HIGH = 28
SECOND_SUM = 29
SECOND_COUNT = 30
SECOND_CLIPPED = 31
FREQUENCY_CYCLES = 32
FREQUENCY_TIME = 33
FREQUENCY_CYCLES_10 = 34
FREQUENCY_TIME_10 = 35
GROUP_SQUARES = 36
GROUP_LENGTH = 37
GROUP_COUNT = 38
GROUP_FLAGGED = 39
# What the last whole second gave.
MIN = 40
MAX = 41
MEAN = 42
MEAN_FINE = 43  # 1/16 of 0.01 V
WAS_CLIPPED = 44
FREQUENCY = 45  # mHz over 1 s, 0: no whole cycle
FREQUENCY_10 = 46  # mHz over 10 s
GROUPS = 47  # 10/12-cycle values since the reader set it to 0
GROUP_FLAGS = 48  # bit n: value n overlaps an event
GROUP_FIRST = 49  # up to 8 values
GROUP_ROOM = 8
LOW_SHARE = 57  # LOW and HIGH in 0.01 % of nominal, steps of 0.1 % outward; NONE while not known
HIGH_SHARE = 58
SLOPE = 59  # steepness of the last crossing
STEADY = 60  # crossings in a row as far apart as those before
UNSETTLED = 61  # windows to come that may still be cut at the rhythm from before an interruption
TAP = 64
HALVES_AT = COMMON + 2 * TAP  # for each tap HALVES rms values, then HALVES window ends
EVENTS_AT = HALVES_AT + 4 * HALVES
STATE_WORDS = EVENTS_AT + EVENTS_MAX * EVENT_WORDS

# Words of an event record.
RECORD_TAP = 0
RECORD_KIND = 1  # 0 dip, 1 swell, 2 interruption
RECORD_PHASE = 2  # 0 open, 1 closed, 2 still open and now an interruption
RECORD_ID = 3
RECORD_START_BLOCK = 4
RECORD_START = 5
RECORD_END_BLOCK = 6
RECORD_END = 7
RECORD_EXTREME = 8
RECORD_FLAGS = 9  # bit 0: clipped, so 'at least'


def supply_block(before, after, first, ring, state):
    """Take 320 codes of each tap (signed 12 bit, sampled together) from place `first`, and renew `state`.

    `ring` ('h', 2 * RING) keeps the last 1.6 s of raw codes. `state` ('i', STATE_WORDS) holds the last
    half-cycle values with their window ends as sample numbers modulo 2^22, and from EVENTS_AT the
    EVENT_COUNT event records of this block.
    """
    state[AT_BLOCK] += 1
    state[EVENT_COUNT] = 0
    _tap_block(before, first, 0, ring, state)
    _tap_block(after, first, 1, ring, state)


def _tap_block(codes, first, tap, ring, state):  # one loop on purpose
    t = COMMON + tap * TAP
    slot = state[AT_BLOCK] % SLOTS
    base = (tap * RING + GUARD + slot * BLOCK) & MASK
    far = (base - LONG - SHORT) & MASK
    i = base
    for n in range(first, first + BLOCK):
        ring[i] = codes[n]
        i += 1
    if slot == SLOTS - 1:
        for n in range(GUARD):
            ring[tap * RING + n] = codes[first + BLOCK - GUARD + n]
    level = state[t + OFFSET] * LEVEL
    lack = level - state[t + FILTER_Y]  # of the filter's output, to the level: negative above it
    d = state[t + FILTER_D]
    above = -1 if state[t + ABOVE] else 0
    last = state[t + LAST] - SPAN
    half = state[t + HALF]
    state[t + CROSSING] -= SPAN
    state[t + RISE] -= SPAN
    state[t + LOW] = 1 << 20
    state[t + HIGH] = state[t + CLIPPED] = 0
    short, long, both = SHORT, LONG, LONG + SHORT  # a board finds locals faster
    i = far
    while True:
        due = ((last + half + (half >> 1) + DELAY) >> 8) + 1
        stop = far + (due if due < BLOCK else BLOCK)
        crossed = False
        for n in range(i & MASK, stop):
            d += ring[n + both] - ring[n + short] - ring[n + long] + ring[n]
            lack -= d
            if lack ^ above < 0:
                crossed = True
                i = n + 1
                break
        if crossed:
            above = ~above
            if -SLOPE_MIN < d < SLOPE_MIN:
                continue
            edge = ((i - far - 2) << 8) + ((lack + d) << 8) // d - DELAY
            length = _accept(state, t, edge, last, half, d)
            if length == 0:
                continue
        elif due >= BLOCK:
            break
        else:
            i = stop if i < stop else i
            length = half
            _doubt(state, t)
        _close_half(ring, base, state, t, tap, last, length)
        half = state[t + HALF]
        last += length
    state[t + FILTER_Y] = level - lack
    state[t + FILTER_D] = d
    state[t + ABOVE] = -above
    state[t + LAST] = last
    if state[t + HIGH] or state[t + LOW] == 0:
        state[t + LOW_SHARE] = state[t + LOW] * 1000 // state[NOMINAL] * 10
        state[t + HIGH_SHARE] = (state[t + HIGH] * 1000 + state[NOMINAL] - 1) // state[NOMINAL] * 10
    if state[AT_BLOCK] % 10 == 9:
        _close_second(state, t)


def _doubt(state, t):
    if state[t + DOUBTS] < 100:
        state[t + DOUBTS] += 1
    state[t + PAST_GOOD] = 0


def _accept(state, t, crossing, last, half, slope):
    """Return the length of the half cycle that a crossing ends, 0 when it comes too early.

    A step of the amplitude moves the filtered crossing beside it though the fundamental's stays.
    """
    rising = slope > 0
    steepness = slope if rising else -slope
    was = state[t + SLOPE]
    state[t + SLOPE] = steepness
    spacing = crossing - state[t + CROSSING]
    uneven = spacing - state[t + SPACING]
    # A step shifts two crossings at most, so spacings even within half a sample can't look like a drift.
    if -EVEN <= uneven <= EVEN and SPACING_MIN <= spacing <= SPACING_MAX:
        state[t + STEADY] += 1
    else:
        state[t + STEADY] = 0
    state[t + CROSSING] = crossing
    state[t + SPACING] = spacing
    gap = crossing - last
    if gap < half >> 1:
        return 0
    stray = CLOSE
    if -CLOSE <= uneven <= CLOSE and -(was >> STEP_SHIFT) <= steepness - was <= was >> STEP_SHIFT:
        stray = STRAY
    drifted = state[t + STEADY] >= STEADY_MIN and not -STRAY <= spacing - half <= STRAY
    if not drifted and -stray <= gap - half <= stray:
        state[t + DOUBTS] = 0
        state[t + HALF] = half + ((gap - half + 2) >> 2)
        if rising:
            state[t + RISE] = crossing
            if state[t + PAST_GOOD]:
                state[t + FREQUENCY_CYCLES] += 1
                state[t + FREQUENCY_TIME] += gap + state[t + PAST_LENGTH]
        state[t + PAST_GOOD] = 1
        return gap
    if not drifted and state[t + DOUBTS] < DOUBTS_MAX:
        _doubt(state, t)
        return half
    state[t + DOUBTS] = 0
    state[t + PAST_GOOD] = 0
    if drifted:
        state[t + HALF] = spacing
    return gap


def _close_half(ring, base, state, t, tap, start, length):
    """Sum the squares from `start` over `length`; with the half cycle before they are one window."""
    offset = state[t + OFFSET]
    a = start + 128
    b = a + length
    i = (base + (a >> 8)) & MASK
    j = (base + (b >> 8)) & MASK
    total = 0
    low = 0
    high = 0
    for k in range(i, j):
        code = ring[k]
        if code < low:
            low = code
        if code > high:
            high = code
        code -= offset
        total += code * code
    first = ring[i] - offset
    end = ring[j] - offset
    total += ((end * end >> 1) * (b & 255) >> 7) - ((first * first >> 1) * (a & 255) >> 7)
    if total < 0:
        total = 0
    clipped = 1 if low <= -2048 or high >= 2047 else 0
    past = state[t + PAST_LENGTH]
    if state[t + WARM] > 0:
        state[t + WARM] -= 1
    else:
        root = _root(_mean_square(total + state[t + PAST_SQUARES], length + past, 14), state[t + ROOT])
        state[t + ROOT] = root
        _window(state, t, tap, start - past, start + length, _volts(root, state[t + GAIN]),
                clipped | state[t + PAST_CLIPPED])
        _group(state, t, total, length)
    state[t + PAST_SQUARES] = total
    state[t + PAST_LENGTH] = length
    state[t + PAST_CLIPPED] = clipped


def _mean_square(squares, length, shift):
    """Return squares / length * 2^shift without leaving 30 bits (shift 14: 1/64 code^2)."""
    whole = squares // length
    rest = squares - whole * length
    if shift > 14:
        part = (rest << 8) // length
        whole = (whole << 8) + part
        rest = (rest << 8) - part * length
        shift -= 8
    return (whole << shift) + (rest << shift) // length


def _root(square, guess):
    """Return the root of `square` (1/64 code^2) in 1/256 code, by Newton from the last root."""
    if square == 0:
        return 0
    root = guess if guess > 64 else 64
    for _ in range(40):
        whole = square // root
        if whole > 1 << 18:
            whole = 1 << 18
            better = (root + (whole << 10)) >> 1
        else:
            better = (root + (whole << 10) + ((square - whole * root) << 10) // root) >> 1
        if better > ROOT_MAX:
            better = ROOT_MAX
        step = better - root
        root = better
        if -(root >> 8) <= step <= root >> 8 or root < 8:
            break
    return root


def _volts(root, gain):
    """Return 0.01 V of a root in 1/256 code: 800 V are 2048 codes, `gain` 16384 is one."""
    value = root * 625 >> 11
    value += value * (gain - 16384) >> 14
    return (value + 1) >> 1


def _window(state, t, tap, start, end, rms, clipped):
    """Enter one Urms(1/2) value in block, second, ring and event."""
    at = state[t + HALF_AT]
    h = HALVES_AT + tap * 2 * HALVES + at
    state[h] = rms
    state[h + HALVES] = ((state[AT_BLOCK] & 0xFFFF) * BLOCK + (end >> 8)) & 0x3FFFFF
    state[t + HALF_AT] = (at + 1) % HALVES
    if rms < state[t + LOW]:
        state[t + LOW] = rms
    if rms > state[t + HIGH]:
        state[t + HIGH] = rms
    if rms < state[t + SECOND_LOW]:
        state[t + SECOND_LOW] = rms
    if rms > state[t + SECOND_HIGH]:
        state[t + SECOND_HIGH] = rms
    state[t + SECOND_SUM] += rms
    state[t + SECOND_COUNT] += 1
    state[t + CLIPPED] |= clipped
    state[t + SECOND_CLIPPED] |= clipped
    most = rms
    if rms < state[INTERRUPTION]:
        state[t + UNSETTLED] = SETTLING
    elif state[t + UNSETTLED] > 0:
        # Such a window may open a swell; how high that is, settled ones tell.
        state[t + UNSETTLED] -= 1
        if most > state[SWELL_ON]:
            most = state[SWELL_ON]
    kind = state[t + EVENT_KIND]
    if kind == 0 and state[DIP_ON] <= rms <= state[SWELL_ON]:
        return
    state[t + GROUP_FLAGGED] = 1
    if kind == 1:
        if rms < state[t + EVENT_EXTREME]:
            if rms < state[INTERRUPTION] <= state[t + EVENT_EXTREME]:
                state[t + EVENT_EXTREME] = rms
                _event(state, t, tap, 2, 0)
            state[t + EVENT_EXTREME] = rms
        if rms >= state[DIP_OFF]:
            _event(state, t, tap, 1, start)
            kind = 0
    elif kind == 2:
        if most > state[t + EVENT_EXTREME]:
            state[t + EVENT_EXTREME] = most
        if rms <= state[SWELL_OFF]:
            _event(state, t, tap, 1, start)
            kind = 0
    if kind == 0 and (rms < state[DIP_ON] or rms > state[SWELL_ON]):
        kind = 1 if rms < state[DIP_ON] else 2
        state[t + EVENT_KIND] = kind
        state[t + EVENT_ID] = state[EVENT_NEXT]
        state[EVENT_NEXT] = (state[EVENT_NEXT] + 1) & 0xFFFF
        state[t + EVENT_BLOCK] = state[AT_BLOCK]
        state[t + EVENT_POSITION] = start
        state[t + EVENT_EXTREME] = most
        state[t + EVENT_FLAGS] = 0
        _event(state, t, tap, 0, 0)
    state[t + EVENT_KIND] = kind
    state[t + EVENT_FLAGS] |= clipped


def _event(state, t, tap, phase, end):
    """Append an event record: opened, deepened to an interruption, or closed at `end`."""
    count = state[EVENT_COUNT]
    if count >= EVENTS_MAX:
        return
    r = EVENTS_AT + count * EVENT_WORDS
    kind = 1
    if state[t + EVENT_KIND] == 1:
        kind = 2 if state[t + EVENT_EXTREME] < state[INTERRUPTION] else 0
    state[r + RECORD_TAP] = tap
    state[r + RECORD_KIND] = kind
    state[r + RECORD_PHASE] = phase
    state[r + RECORD_ID] = state[t + EVENT_ID]
    state[r + RECORD_START_BLOCK] = state[t + EVENT_BLOCK]
    state[r + RECORD_START] = state[t + EVENT_POSITION]
    state[r + RECORD_END_BLOCK] = state[AT_BLOCK]
    state[r + RECORD_END] = end
    state[r + RECORD_EXTREME] = state[t + EVENT_EXTREME]
    state[r + RECORD_FLAGS] = state[t + EVENT_FLAGS]
    state[EVENT_COUNT] = count + 1


def _group(state, t, squares, length):
    """Add a half cycle to the 10/12-cycle value: the rms of its parts, by length."""
    state[t + GROUP_SQUARES] += (squares + 4) >> 3
    state[t + GROUP_LENGTH] += length
    state[t + GROUP_COUNT] += 1
    if state[t + GROUP_COUNT] < 2 * state[CYCLES]:
        return
    root = _root(_mean_square(state[t + GROUP_SQUARES], state[t + GROUP_LENGTH], 17), state[t + ROOT])
    count = state[t + GROUPS]
    if count < GROUP_ROOM:
        state[t + GROUP_FIRST + count] = _volts(root, state[t + GAIN])
        if state[t + GROUP_FLAGGED]:
            state[t + GROUP_FLAGS] |= 1 << count
        state[t + GROUPS] = count + 1
    state[t + GROUP_SQUARES] = 0
    state[t + GROUP_LENGTH] = 0
    state[t + GROUP_COUNT] = 0
    state[t + GROUP_FLAGGED] = 1 if state[t + EVENT_KIND] else 0


def _close_second(state, t):
    """Publish minimum, maximum, mean and frequency of the second that ends with this block."""
    count = state[t + SECOND_COUNT]
    if count:
        total = state[t + SECOND_SUM]
        state[t + MIN] = state[t + SECOND_LOW]
        state[t + MAX] = state[t + SECOND_HIGH]
        state[t + MEAN] = (total + (count >> 1)) // count
        state[t + MEAN_FINE] = (total * 16 + (count >> 1)) // count
    state[t + WAS_CLIPPED] = state[t + SECOND_CLIPPED]
    state[t + SECOND_LOW] = 1 << 20
    state[t + SECOND_HIGH] = 0
    state[t + SECOND_SUM] = 0
    state[t + SECOND_COUNT] = 0
    state[t + SECOND_CLIPPED] = 0
    state[t + FREQUENCY] = _frequency(state[t + FREQUENCY_CYCLES], state[t + FREQUENCY_TIME])
    state[t + FREQUENCY_CYCLES_10] += state[t + FREQUENCY_CYCLES]
    state[t + FREQUENCY_TIME_10] += state[t + FREQUENCY_TIME]
    state[t + FREQUENCY_CYCLES] = 0
    state[t + FREQUENCY_TIME] = 0
    if state[AT_BLOCK] % 100 == 99:
        state[t + FREQUENCY_10] = _frequency(state[t + FREQUENCY_CYCLES_10], state[t + FREQUENCY_TIME_10])
        state[t + FREQUENCY_CYCLES_10] = 0
        state[t + FREQUENCY_TIME_10] = 0


def _frequency(cycles, time):
    """Return mHz of whole cycles in `time` (1/256 sample), 0 when there were none: a long division."""
    if time == 0:
        return 0
    rest = cycles * SPAN * 10
    hertz = rest // time
    rest = rest % time * 100
    hundredths = rest // time
    rest = rest % time * 10
    return hertz * 1000 + hundredths * 10 + (rest + (time >> 1)) // time


def supply_limits(state, nominal, hertz, dip, swell, interruption, hysteresis):
    """Set the nominal voltage (0.01 V), frequency (Hz) and thresholds (0.01 % of nominal)."""
    state[NOMINAL] = nominal
    state[CYCLES] = 10 if hertz < 55 else 12
    state[DIP_ON] = nominal * dip // 10000
    state[DIP_OFF] = nominal * (dip + hysteresis) // 10000
    state[SWELL_ON] = nominal * swell // 10000
    state[SWELL_OFF] = nominal * (swell - hysteresis) // 10000
    state[INTERRUPTION] = nominal * interruption // 10000


def supply_reset(state, hertz):
    """Prepare `state` for the first block. Gains become one; call `supply_limits` next."""
    for n in range(len(state)):
        state[n] = 0
    state[AT_BLOCK] = -1
    for n in range(4 * HALVES):
        state[HALVES_AT + n] = -1
    for tap in range(2):
        t = COMMON + tap * TAP
        state[t + GAIN] = 16384
        state[t + HALF] = SPAN * 5 // hertz
        state[t + PAST_LENGTH] = SPAN * 5 // hertz
        state[t + LAST] = SPAN
        state[t + DOUBTS] = DOUBTS_MAX
        state[t + WARM] = WARM_UP
        state[t + SECOND_LOW] = 1 << 20
        state[t + LOW_SHARE] = NONE
        state[t + HIGH_SHARE] = NONE
