"""Delta code of the engine's inputs: what the alarm engine saw, ten steps a record, exactly.

Each step: one count byte, then for each changed input its id byte and its value as a variable-length
signed difference from the prediction (zig-zag, seven bits a byte, low ones first). A level is predicted to
stay, an age to grow by one. `NONE` travels as the byte id + 128 without a value; a value after NONE is a
difference from 0. A record marked `whole` starts from NONE everywhere; any other from where the record
before it ended.
"""

from array import array

from firmware_sim.contract import NONE, values
from firmware_sim.contract.values import AGES, COUNT
from firmware_sim.kernels import steps
from firmware_sim.kernels.inputs import inputs_take

# What each input is predicted to grow by in a step; the kernels want it as an array.
GROWTH = array("h", [1 if age else 0 for age in AGES])
# The longest code of one step.
STEP_MAX = 1 + 6 * COUNT


def start(values):
    """Fill `values` with NONE: what both ends assume before a whole record."""
    for index in range(COUNT):
        values[index] = NONE


def place(run):
    """Tell the kernel of a step where its inputs stand (`run`: words of `kernels.steps`)."""
    run[steps.PRESSURE_AT] = values.PRESSURE_MAX
    run[steps.SUPPLY_AT] = values.SUPPLY_IN_LOW
    run[steps.UNDETERMINED_AT] = values.UNDETERMINED_AGE
    run[steps.LINK_AT] = values.LINK_AGE
    run[steps.OXYGEN_AT] = values.OXYGEN


def take_step(data, at, values):
    """Apply one step of `data` from offset `at` to `values`; return the next offset. Raises ValueError."""
    after = inputs_take(data, at, GROWTH, values)
    if after < 0:
        raise ValueError("inputs record is cut short or names an unknown input")
    return after
