"""Delta code of the engine's inputs, both ways (the code itself is described in `contract/inputs.py`).

Bytes stand one a word in arrays of 'h'.
"""

NONE = -0x3FFFFFFF - 1


def inputs_put(before, now, ages, out, at):
    """Append one step at `out[at]`; `before` becomes `now`. Return the next free place.

    A step takes at most 1 + 6 bytes an input; the caller sees to the room.
    """
    count = 0
    end = at + 1
    for index in range(len(now)):
        value = now[index]
        old = before[index]
        if old != NONE:
            old += ages[index]
        before[index] = value
        if value == old:
            continue
        count += 1
        if value == NONE:
            out[end] = index | 128
            end += 1
            continue
        out[end] = index
        end += 1
        if old == NONE:
            old = 0
        # Zig-zag in two halves, so that nothing leaves 31 bits: the sign travels in the lowest bit.
        rest = value - old
        sign = 0
        if rest < 0:
            rest = -1 - rest
            sign = 1
        low = (rest & 63) << 1 | sign
        rest = rest >> 6
        while rest > 0:
            out[end] = low | 128
            end += 1
            low = rest & 127
            rest = rest >> 7
        out[end] = low
        end += 1
    out[at] = count
    return end


def inputs_take(data, at, ages, values):
    """Apply one step of `data` from place `at` to `values`; return the next place, or -1 for a bad code."""
    for index in range(len(values)):
        if values[index] != NONE:
            values[index] += ages[index]
    size = len(data)
    if at >= size:
        return -1
    left = data[at]
    at += 1
    while left > 0:
        left -= 1
        if at >= size:
            return -1
        code = data[at]
        at += 1
        index = code & 127
        if index >= len(values):
            return -1
        if code & 128:
            values[index] = NONE
            continue
        if at >= size:
            return -1
        byte = data[at]
        at += 1
        sign = byte & 1
        rest = (byte & 127) >> 1
        shift = 6
        while byte & 128:
            if at >= size or shift > 27:
                return -1
            byte = data[at]
            at += 1
            rest += (byte & 127) << shift
            shift += 7
        if rest > 0x3FFFFFFF:
            return -1
        if sign:
            rest = -1 - rest
        values[index] = rest + (0 if values[index] == NONE else values[index])
    return at


def inputs_steps(data, at, steps, ages, values, block):
    """Decode `steps` steps from place `at` into `block`, len(values) integers a step; `values` go on.

    Return the next place, or -1 for a bad code.
    """
    width = len(values)
    for step in range(steps):
        at = inputs_take(data, at, ages, values)
        if at < 0:
            return -1
        for index in range(width):
            block[step * width + index] = values[index]
    return at
