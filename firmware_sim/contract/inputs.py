"""Delta code of the engine's inputs: what the alarm engine saw, ten steps a record, exactly.

Each step: one count byte, then for each changed input its id byte and its value as a variable-length
signed difference from the prediction (zig-zag, seven bits a byte). A level is predicted to stay, an age
to grow by one. `NONE` on either side travels as the escape id+128 (now NONE) or as a difference from 0.
"""

from firmware_sim.contract import NONE
from firmware_sim.contract.values import AGES, COUNT


def start(values):
    """Fill `values` with NONE: what both ends assume before the first step."""
    for index in range(COUNT):
        values[index] = NONE


def put_step(out, before, now):
    """Append one step to the bytearray `out`; `before` is updated to `now`."""
    at = len(out)
    out.append(0)
    count = 0
    for index in range(COUNT):
        value = now[index]
        old = before[index]
        if old != NONE and AGES[index]:
            old += 1
        if value == old:
            before[index] = value
            continue
        count += 1
        if value == NONE:
            out.append(index | 0x80)
        else:
            out.append(index)
            put_signed(out, value - (0 if old == NONE else old))
        before[index] = value
    out[at] = count


def put_signed(out, value):
    """Append a zig-zag variable-length integer."""
    value = value * 2 if value >= 0 else -value * 2 - 1
    while value > 127:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    out.append(value)


def take_step(data, at, values):
    """Apply one step of `data` from offset `at` to `values`; return the next offset. Raises ValueError."""
    for index in range(COUNT):
        if AGES[index] and values[index] != NONE:
            values[index] += 1
    if at >= len(data):
        raise ValueError("inputs record ends early")
    count = data[at]
    at += 1
    for _ in range(count):
        code = data[at]
        at += 1
        index = code & 0x7F
        if index >= COUNT:
            raise ValueError("inputs record names input " + str(index))
        if code & 0x80:
            values[index] = NONE
            continue
        raw = 0
        shift = 0
        while True:
            byte = data[at]
            at += 1
            raw |= (byte & 0x7F) << shift
            if byte < 128:
                break
            shift += 7
        delta = raw >> 1 if not raw & 1 else -((raw + 1) >> 1)
        values[index] = delta + (0 if values[index] == NONE else values[index])
    return at
