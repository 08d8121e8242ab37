"""What is done ten times a second, for as many steps as nothing is found: measure, judge, record.

A step of 100 ms: both taps and circuit pressure, the engine's inputs made of them, all alarm rows, the code
of the inputs and the wave for the record of this second. What is found seldom (an event, a breath, another
supply state, the end of a second, a transition) is looked after by those who call.
"""

from firmware_sim.kernels.alarms import G_OUT, alarm_steps
from firmware_sim.kernels.breath import BLOCK_MAX, BLOCK_MIN, CYCLE_AGE, FOUND
from firmware_sim.kernels.inputs import NONE, inputs_put
from firmware_sim.kernels.oxygen import VALUE, oxygen_sample
from firmware_sim.kernels.sensor import P_BREATH_AGE, P_END, P_PEAK, P_RATE, pressure_block
from firmware_sim.kernels.supply import (
    AT_BLOCK,
    BLOCK,
    COMMON,
    EVENT_COUNT,
    HIGH_SHARE,
    LOW_SHARE,
    TAP,
    supply_block,
)

SECOND = 10  # steps
SAMPLES = 10  # of pressure in a step
ALIVE = 3000  # 0.01 % of nominal: a dead line floats at tens of volts on a high-impedance tap

# Words of `run`.
WHAT = 0  # what the last step measured brought, bits below; 0: that step was judged and recorded too
UNDETERMINED = 1  # for how many steps the supply state has been undetermined, -1: it is known
WINDOW_LOW = 2  # of the UPS, 0.01 % of nominal
WINDOW_HIGH = 3
DOUBTED = 4  # 1: nothing is inferred from the taps
OUTSIDE = 5  # blocks in a row with the input outside the window
DEAD = 6  # ... with a dead output
STANDS = 7  # what the supply state is, one of the bits below, 0: another one
SAID = 8  # all that the blocks of this run said of it
SAYS = 9  # ... the last one, 0: nothing
PRESSURE_AT = 10  # place among the inputs of the first of seven, in the order written below
SUPPLY_AT = 11  # ... of four
UNDETERMINED_AT = 12
LINK_AT = 13
OXYGEN_AT = 14
OXYGEN_DUE = 15  # step of this run in which a code of oxygen is due, 0: none is, beyond the first step's
OXYGEN_CODE = 16
OXYGEN_HIDDEN = 17  # 1: what the cell says is not of now
RUN_WORDS = 18

EVENTS = 1  # records of supply events
BREATHS = 2  # records of breaths
SECOND_ENDED = 4
CHANGED = 8  # the supply state is another one

SAYS_DEAD = 1  # the output is dead
SAYS_CARRIED = 2  # the output lives on without an input of use
SAYS_BYPASS = 4  # it follows an input that is of no use

# Words of `record`, the record of inputs and wave in hand.
CODED = 0  # places taken by the code of its steps
STEPS = 1  # steps in it
RECORD_WORDS = 2


def quiet_steps(before, after, pressure, first, count, run, inputs, ring, supply, wave, breath, found, oxygen,
                seen, growth, changes, samples, record, table, state, low, high, known, out):
    """Take up to `count` steps from step `first` of the codes; return how many were measured, one at least.

    It ends after a step that found something: run[WHAT] says what, and that step is neither judged nor
    recorded yet; or after one with transitions. Codes, `ring`, `supply`: see `supply_block`; `wave`,
    `breath`, `found`: `pressure_block`; `oxygen`: `oxygen_sample`; `seen`, `growth`, `changes`: `inputs_put`,
    with `samples` for the wave of the second; `table` to `out`: `alarm_steps`.
    """
    run[SAID] = 0
    for done in range(count):
        supply_block(before, after, (first + done) * BLOCK, ring, supply)
        pressure_block(pressure, (first + done) * SAMPLES, SAMPLES, wave, breath, found)
        steps_inputs(done, run, inputs, supply, breath)
        if done and done == run[OXYGEN_DUE]:
            oxygen_sample(run[OXYGEN_CODE], oxygen)
            inputs[run[OXYGEN_AT]] = NONE if run[OXYGEN_HIDDEN] else oxygen[VALUE]
        run[WHAT] = steps_found(run, supply, breath)
        if run[WHAT]:
            return done + 1
        alarm_steps(inputs, 0, 1, table, state, low, high, known, out)
        steps_record(inputs, wave, seen, growth, changes, samples, record)
        if state[G_OUT]:
            return done + 1
    return count


def steps_inputs(done, run, inputs, supply, breath):
    """Write the inputs that are renewed in each step; `done` steps of this run were before."""
    at = run[PRESSURE_AT]
    inputs[at] = breath[BLOCK_MAX]
    inputs[at + 1] = breath[BLOCK_MIN]
    inputs[at + 2] = breath[CYCLE_AGE] // SAMPLES
    inputs[at + 3] = breath[P_BREATH_AGE]
    inputs[at + 4] = breath[P_PEAK]
    inputs[at + 5] = breath[P_END]
    inputs[at + 6] = breath[P_RATE]
    at = run[SUPPLY_AT]
    inputs[at] = supply[COMMON + LOW_SHARE]
    inputs[at + 1] = supply[COMMON + HIGH_SHARE]
    inputs[at + 2] = supply[COMMON + TAP + LOW_SHARE]
    inputs[at + 3] = supply[COMMON + TAP + HIGH_SHARE]
    undetermined = run[UNDETERMINED]
    inputs[run[UNDETERMINED_AT]] = NONE if undetermined < 0 else undetermined + done + 1
    # The first step's age is the link's own.
    if done and inputs[run[LINK_AT]] != NONE:
        inputs[run[LINK_AT]] += 1


def steps_found(run, supply, breath):
    """Return what the step measured last brought."""
    what = EVENTS if supply[EVENT_COUNT] else 0
    if breath[FOUND]:
        what |= BREATHS
    if supply[AT_BLOCK] % SECOND == SECOND - 1:
        what |= SECOND_ENDED
    says = steps_extreme(run, supply)
    run[SAYS] = says
    run[SAID] |= says
    if says and says != run[STANDS]:
        what |= CHANGED
    return what


def steps_extreme(run, supply):
    """Judge an input outside the UPS's window, or a dead output, at once: in two blocks."""
    in_low = supply[COMMON + LOW_SHARE]
    in_high = supply[COMMON + HIGH_SHARE]
    out_low = supply[COMMON + TAP + LOW_SHARE]
    out_high = supply[COMMON + TAP + HIGH_SHARE]
    if in_low >= run[WINDOW_LOW] and in_high <= run[WINDOW_HIGH] and out_low >= ALIVE:
        run[OUTSIDE] = 0
        run[DEAD] = 0
        return 0
    if in_low == NONE or run[DOUBTED]:
        return 0
    outside = in_high < run[WINDOW_LOW] or in_low > run[WINDOW_HIGH]
    run[OUTSIDE] = run[OUTSIDE] + 1 if outside else 0
    run[DEAD] = run[DEAD] + 1 if out_high < ALIVE else 0
    if run[DEAD] >= 2:
        return SAYS_DEAD
    if run[OUTSIDE] >= 2 and out_low >= ALIVE:
        follows = -500 < out_low - in_low < 500 and -500 < out_high - in_high < 500
        return SAYS_BYPASS if follows else SAYS_CARRIED
    return 0


def steps_record(inputs, wave, seen, growth, changes, samples, record):
    """Take a judged step's inputs and wave into the record in hand."""
    record[CODED] = inputs_put(seen, inputs, growth, changes, record[CODED])
    at = record[STEPS] * SAMPLES
    for n in range(SAMPLES):
        samples[at + n] = wave[n]
    record[STEPS] += 1
