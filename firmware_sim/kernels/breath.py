"""Find breaths in circuit pressure at 100 samples a second; the module and the host use the same function.

A push (ventilator, hand) is a rise above the resting pressure, a pull (draw-over breathing) a fall below
it; the rest itself is followed only while the pressure is flat. Spikes of one sample are removed by a
median of three; a mean of four then serves timing alone. Peaks are those of the median, so that no
smoothing blunts them. Pressures in 0.01 cmH2O, times in samples of 10 ms unless a name says otherwise.

Positive pressure tells rate, cycling, peak, mean and circuit end-expiratory pressure; not volume, tube
position, gas that reaches the lung, nor what stays in it.
"""

MISSING = -32768
MODE_VENTILATOR, MODE_HAND, MODE_SPONTANEOUS = 1, 2, 3
VENTILATOR, HAND, PATIENT, UNDETERMINED = 0, 1, 2, 3

# Words of the state ('i', BREATH_STATE).
AT = 0  # samples since the start
MODE = 1
FOUND = 2  # records written by the last call
RAW_1 = 3
RAW_2 = 4
PHASE = 5
REST = 6  # resting pressure, 1/16 of 0.01 cmH2O
QUIET_AT = 7  # last sample at rest
AREA_QUIET = 8  # sum of what came after it
# The breath in hand; the one before stays in the same order from SAVED until this one is sure.
OPEN = 10
START = 11
PEAK = 12
LOWEST = 13
BASE = 14  # end-expiratory pressure before it
AREA = 15
INSPIRATION = 16
PLATEAU = 17
KIND = 18
FLAGS = 19
SAVED = 20
BREATH_IN_HAND = 10  # words
HOLD_AT = 30  # last sample of a push that didn't fall
FLAT = 31  # samples in a row without change
HEIGHT = 32  # usual height of a push
AGE = 33  # since the last breath was sure
CYCLE_AGE = 34  # since the pressure last rose through the limit
CYCLE_ARMED = 35
CYCLE_LIMIT = 36
BLOCK_MAX = 37
BLOCK_MIN = 38
DIP_AT = 39  # start of the last pull
DIP_LOWEST = 40
PERIOD_MEAN = 41
PERIOD_ALIKE = 42
STEADY = 43  # breaths in a row as long and as high as those before
RESTLESS = 44  # rises with breaths unlike those before
PERIODS = 45  # last four
PERIOD_COUNT = 49
# The last sure breath, known at the end of its inspiration.
LAST_PEAK = 50
LAST_END = 51
LAST_KIND = 52
LAST_FLAGS = 53
EFFORTS = 54  # pulls that were no breath, since the start
PULLS = 55  # of them, in a row without a push between: suggests 'spontaneous'
SUSTAINED = 56  # 1: the last push never ended
RATE = 57  # breath_rate after the last call
TAIL = 64  # 32 medians, newest at AT % 32
SMOOTH = 96  # 16 means of four
BREATH_STATE = 112

# Words of a record.
R_START = 0
R_KIND = 1
R_PEAK = 2
R_PLATEAU = 3  # MISSING where there was none
R_END = 4  # end-expiratory: the mean of 40 ms before the next breath
R_MEAN = 5
R_LOWEST = 6
R_TI = 7  # with a pause
R_TE = 8
R_RATE = 9  # 0.01 /min
R_FLAGS = 10
BREATH_WORDS = 12

FLAG_EFFORT = 1  # a pull of at least 0.5 cmH2O within the breath
FLAG_TRIGGERED = 2  # a pull began within 0.5 s before the push
FLAG_SUSTAINED = 4  # the push didn't end within 5 s
FLAG_LAST = 8  # no breath followed within 30 s
FLAG_COUGH = 16  # a push shorter than 0.2 s within the breath

REST_PHASE, PUSH, PULL = 0, 1, 2
EFFORT_MIN = 50  # 0.5 cmH2O below the baseline (Thille criteria)
BACK = 30  # a pull is over when so near to rest
PULL_MIN = 80
PUSH_MIN, PUSH_MAX = 150, 400  # bounds of the height at which a push begins
QUIET = 30
FLAT_MAX = 10  # change in 100 ms that is still flat
LONGEST = 500
NEXT_MAX = 3000
COUGH, RATTLE = 20, 40
STEADY_MIN, RESTLESS_MIN, RESTLESS_MAX = 3, 4, 10
PULL_SHORTEST = 30
PULL_FLAT, PULL_FLAT_DRAWN = 40, 220  # flat for so long below rest: the rest has moved
PULL_DEEP = 800  # nobody draws so deep for so long
AGE_MAX = 1 << 29
DELAY = 3  # of the smoothed pressure


def breath_block(wave, count, state, records):
    """Take `count` samples ('h', 0.01 cmH2O; MISSING is a gap) and write a record for each breath closed.

    A breath is closed by the start of the next one, or 30 s after its own. `records` ('i', a multiple of
    BREATH_WORDS) must hold one a 20 samples; state[FOUND] counts them.
    """
    state[FOUND] = 0
    state[BLOCK_MAX] = MISSING
    state[BLOCK_MIN] = -MISSING
    for n in range(count):
        if wave[n] == MISSING:
            _gap(state)
        else:
            _sample(wave[n], state, records)


def breath_reset(state, mode, cycle_limit):
    """Prepare `state`; `cycle_limit` is the pressure that a ventilator's cycle must pass.

    state[MODE] and state[CYCLE_LIMIT] may be set anew at any time.
    """
    for n in range(len(state)):
        state[n] = 0
    state[MODE] = mode
    state[CYCLE_LIMIT] = cycle_limit
    state[LAST_KIND] = UNDETERMINED
    state[PLATEAU] = MISSING
    state[DIP_AT] = -1000
    state[RAW_1] = MISSING


def breath_rate(state):
    """Return 0.01 /min over the last four periods, less once the present one is longer; 0: not known."""
    count = state[PERIOD_COUNT]
    if count == 0:
        return 0
    if count > 4:
        count = 4
    total = 0
    for n in range(count):
        total += state[PERIODS + n]
    running = state[AT] - state[START]
    if running * count > total:
        return 600000 // running
    return (count * 600000 + (total >> 1)) // total


def _gap(state):
    """Forget the breath in hand: the wave has a hole."""
    state[AT] += 1
    state[OPEN] = 0
    state[SAVED] = 0
    state[PHASE] = REST_PHASE
    state[PERIOD_COUNT] = 0
    state[RAW_1] = MISSING
    _grow(state)


def _grow(state):
    if state[AGE] < AGE_MAX:
        state[AGE] += 1
    if state[CYCLE_AGE] < AGE_MAX:
        state[CYCLE_AGE] += 1


def _sample(raw, state, records):
    if state[RAW_1] == MISSING:
        _begin(raw, state)
    median = _median(raw, state[RAW_1], state[RAW_2])
    state[RAW_2] = state[RAW_1]
    state[RAW_1] = raw
    at = state[AT] + 1
    state[AT] = at
    state[TAIL + (at & 31)] = median
    smooth = (
        median + state[TAIL + ((at - 1) & 31)] + state[TAIL + ((at - 2) & 31)] + state[TAIL + ((at - 3) & 31)]
    ) >> 2
    state[SMOOTH + (at & 15)] = smooth
    if median > state[BLOCK_MAX]:
        state[BLOCK_MAX] = median
    if median < state[BLOCK_MIN]:
        state[BLOCK_MIN] = median
    _grow(state)
    _cycle(median, state)
    state[AREA] += median
    state[AREA_QUIET] += median
    if median > state[PEAK]:
        state[PEAK] = median
    phase = state[PHASE]
    if phase != PULL and median < state[LOWEST]:
        state[LOWEST] = median
    if phase == REST_PHASE:
        _rest(smooth, at, state)
    elif phase == PUSH:
        _push(smooth, at, state, records)
    else:
        _pull(smooth, at, state, records)
    if state[OPEN] and state[PHASE] == REST_PHASE and at - state[START] >= NEXT_MAX:
        state[FLAGS] |= FLAG_LAST
        _save(state)
        _record(at, state, records)
        state[OPEN] = 0
        state[PERIOD_COUNT] = 0


def _begin(raw, state):
    """Fill the histories with the first sample after a start or a gap."""
    state[RAW_1] = raw
    state[RAW_2] = raw
    for n in range(32):
        state[TAIL + n] = raw
    for n in range(16):
        state[SMOOTH + n] = raw
    state[REST] = raw * 16
    state[PEAK] = raw
    state[LOWEST] = raw


def _median(a, b, c):
    if a > b:
        if b > c:
            return b
        return c if a > c else a
    if a > c:
        return a
    return c if b > c else b


def _cycle(median, state):
    """Count the time since the pressure rose through the limit; a steady pressure above it is no cycle."""
    if median < state[CYCLE_LIMIT] - 100:
        state[CYCLE_ARMED] = 1
    elif state[CYCLE_ARMED] and median >= state[CYCLE_LIMIT]:
        state[CYCLE_ARMED] = 0
        state[CYCLE_AGE] = 0


def _threshold(state):
    """Return the height over rest at which a push begins: a quarter of the usual one, less as time passes."""
    height = state[HEIGHT] >> 2
    if state[AGE] > 1000:
        height = height >> 1
    if height < PUSH_MIN:
        return PUSH_MIN
    return PUSH_MAX if height > PUSH_MAX else height


def _rest(smooth, at, state):
    above = smooth - (state[REST] >> 4)
    change = smooth - state[SMOOTH + ((at - 10) & 15)]
    if -FLAT_MAX <= change <= FLAT_MAX:
        state[REST] += (smooth * 16 - state[REST]) >> (7 if above > 0 else 5)
    else:
        state[REST] += (smooth * 16 - state[REST]) >> 9
    if -QUIET <= above <= QUIET or (change < -FLAT_MAX and above > 0):
        _quiet(at, state)
    if above > _threshold(state):
        _start(at, state)
    elif above < -EFFORT_MIN:
        state[PHASE] = PULL
        state[DIP_AT] = state[QUIET_AT]
        state[DIP_LOWEST] = smooth
        state[FLAT] = 0


def _quiet(at, state):
    """Remember this as the last sample before whatever comes."""
    state[QUIET_AT] = at
    state[AREA_QUIET] = 0


def _save(state):
    for n in range(BREATH_IN_HAND):
        state[SAVED + n] = state[OPEN + n]


def _start(at, state):
    """Begin a push at the last quiet sample; the breath before is kept until this one is sure."""
    start = state[QUIET_AT]
    state[AREA] -= state[AREA_QUIET]
    _save(state)
    state[OPEN] = 1
    state[PHASE] = PUSH
    state[START] = start
    since = at - start
    state[BASE] = state[REST] >> 4
    triggered = start - state[DIP_AT] < 50
    if since <= 26 and not triggered:
        total = 0
        for n in range(4):
            total += state[TAIL + ((start - 1 - n) & 31)]
        state[BASE] = (total + 2) >> 2
    peak = state[TAIL + (at & 31)]
    lowest = peak
    for n in range(since if since < 31 else 31):
        median = state[TAIL + ((at - n) & 31)]
        if median > peak:
            peak = median
        if median < lowest:
            lowest = median
    state[PEAK] = peak
    state[LOWEST] = lowest
    state[AREA] = state[AREA_QUIET]
    state[HOLD_AT] = at
    state[INSPIRATION] = 0
    state[PLATEAU] = MISSING
    state[FLAT] = 0
    state[FLAGS] = FLAG_TRIGGERED if triggered else 0


def _push(smooth, at, state, records):
    height = state[PEAK] - state[BASE]
    fall = state[SMOOTH + ((at - 5) & 15)] - smooth
    if fall < 8 or fall * 50 < height:
        state[HOLD_AT] = at
    flat = 20 if height < 800 else height // 40
    if -flat <= fall <= flat:
        state[FLAT] += 1
        if state[FLAT] >= 12 and state[PEAK] - smooth >= 30 + height // 50:
            state[PLATEAU] = smooth
    else:
        state[FLAT] = 0
    end = height // 5
    if end < 60:
        end = 60
    if smooth < state[BASE] + end:
        state[PHASE] = REST_PHASE
        length = at - state[START]
        # So short, or short and low soon after a breath: a cough, a knock, water in the tube.
        if length < COUGH or (length < RATTLE and height * 3 < state[HEIGHT] and state[AGE] < LONGEST):
            _take_back(at, state)
        else:
            _sure(state[HOLD_AT] - DELAY - state[START] + 1, height, state, records)
            state[SUSTAINED] = 0
        _quiet(at, state)
    elif at - state[START] >= LONGEST:
        state[PHASE] = REST_PHASE
        state[FLAGS] |= FLAG_SUSTAINED
        state[SUSTAINED] = 1
        _sure(at - state[START], height, state, records)
        state[REST] = smooth * 16
        _quiet(at, state)


def _take_back(at, state):
    """Join a push too short for a breath to the breath before."""
    area = state[AREA]
    for n in range(BREATH_IN_HAND):
        state[OPEN + n] = state[SAVED + n]
    state[AREA] += area
    state[FLAGS] |= FLAG_COUGH


def _sure(inspiration, height, state, records):
    """Count the breath in hand, now that its inspiration is over, and close the one before."""
    state[INSPIRATION] = inspiration if inspiration > 1 else 1
    start = state[START]
    if state[SAVED]:
        _record(start, state, records)
        _period(start - state[SAVED + 1], state)
    state[AGE] = 0
    if height > 0:
        state[PULLS] = 0
        state[KIND] = _kind(height, state)
        if state[HEIGHT] == 0:
            state[HEIGHT] = height
        state[HEIGHT] += (height - state[HEIGHT]) >> 2
    state[LAST_PEAK] = state[PEAK]
    state[LAST_END] = state[BASE]
    state[LAST_KIND] = state[KIND]
    state[LAST_FLAGS] = state[FLAGS]


def _period(period, state):
    """Enter the time from start to start."""
    state[PERIODS + state[PERIOD_COUNT] % 4] = period
    state[PERIOD_COUNT] += 1
    if state[PERIOD_COUNT] > 7:
        state[PERIOD_COUNT] -= 4
    mean = state[PERIOD_MEAN]
    state[PERIOD_ALIKE] = 1 if -8 * mean < (period - mean) * 100 < 8 * mean else 0
    state[PERIOD_MEAN] = period if mean == 0 or period > 2 * mean else mean + ((period - mean) >> 2)


def _kind(height, state):
    """Tell a machine from a hand by how alike the breaths are; in doubt the kind is undetermined."""
    usual = state[HEIGHT]
    if state[PERIOD_ALIKE] and -usual < (height - usual) * 8 < usual:
        state[STEADY] += 1
        state[RESTLESS] -= 2 if state[RESTLESS] > 1 else state[RESTLESS]
    else:
        state[STEADY] = 0
        if state[PERIOD_COUNT] > 1 and state[RESTLESS] < RESTLESS_MAX:
            state[RESTLESS] += 1
    if state[MODE] == MODE_HAND or state[RESTLESS] >= RESTLESS_MIN:
        return HAND
    return VENTILATOR if state[STEADY] >= STEADY_MIN else UNDETERMINED


def _pull(smooth, at, state, records):
    rest = state[REST] >> 4
    if smooth < state[DIP_LOWEST]:
        state[DIP_LOWEST] = smooth
    change = smooth - state[SMOOTH + ((at - 10) & 15)]
    state[FLAT] = state[FLAT] + 1 if -FLAT_MAX <= change <= FLAT_MAX else 0
    drawn = state[MODE] != MODE_VENTILATOR and state[MODE] != MODE_HAND
    depth = rest - state[DIP_LOWEST]
    if smooth < rest - (depth >> 2):
        state[HOLD_AT] = at
    if smooth > rest + _threshold(state):
        _effort(state)
        _start(at, state)
    elif smooth > rest - BACK:
        state[PHASE] = REST_PHASE
        if drawn and depth >= PULL_MIN and at - state[DIP_AT] >= PULL_SHORTEST:
            _drawn(at, state, records)
        else:
            _effort(state)
        _quiet(at, state)
    elif state[FLAT] >= _patience(drawn, depth) or at - state[DIP_AT] >= LONGEST:
        state[PHASE] = REST_PHASE
        state[REST] = smooth * 16
        _quiet(at, state)


def _patience(drawn, depth):
    """Return for how long a pressure may stay flat below rest before it counts as the new rest."""
    return PULL_FLAT_DRAWN if drawn and depth < PULL_DEEP else PULL_FLAT


def _effort(state):
    """Count a pull that was no breath."""
    state[EFFORTS] += 1
    if state[PULLS] < 1000:
        state[PULLS] += 1
    state[FLAGS] |= FLAG_EFFORT
    if state[DIP_LOWEST] < state[LOWEST]:
        state[LOWEST] = state[DIP_LOWEST]


def _drawn(at, state, records):
    """Enter a breath that the patient drew: it began where the pull did."""
    rest = state[REST] >> 4
    held_at = state[HOLD_AT]
    _start(at, state)
    state[PHASE] = REST_PHASE
    state[BASE] = rest
    state[PEAK] = rest
    state[LOWEST] = state[DIP_LOWEST]
    state[FLAGS] = 0
    state[KIND] = PATIENT
    _sure(held_at - DELAY - state[START] + 1, 0, state, records)


def _record(end, state, records):
    """Write the record of the saved breath, which lasted until `end`."""
    s = SAVED - OPEN
    if (state[FOUND] + 1) * BREATH_WORDS > len(records):
        return
    r = state[FOUND] * BREATH_WORDS
    state[FOUND] += 1
    start = state[s + START]
    length = end - start
    inspiration = state[s + INSPIRATION]
    records[r + R_START] = start
    records[r + R_KIND] = state[s + KIND]
    records[r + R_PEAK] = state[s + PEAK]
    records[r + R_PLATEAU] = state[s + PLATEAU]
    records[r + R_END] = state[BASE] if state[OPEN] and state[START] == end else state[REST] >> 4
    records[r + R_MEAN] = (state[s + AREA] + (length >> 1)) // length
    records[r + R_LOWEST] = state[s + LOWEST]
    records[r + R_TI] = inspiration * 10
    records[r + R_TE] = (length - inspiration) * 10
    records[r + R_RATE] = (600000 + (length >> 1)) // length
    records[r + R_FLAGS] = state[s + FLAGS]
