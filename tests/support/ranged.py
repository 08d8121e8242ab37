"""An integer that refuses to leave -2^30 to 2^30 - 1, and arrays of it: what a 31-bit one would feel."""

LIMIT = 1 << 30


class OutOfRange(ArithmeticError):
    """An intermediate reached 2^30."""


class Ranged(int):
    """An int whose every result is checked."""

    __slots__ = ()

    def __new__(cls, value=0):
        self = int.__new__(cls, value)
        if not -LIMIT <= self < LIMIT:
            raise OutOfRange(int(self))
        return self


def _checked(name):
    plain = getattr(int, name)

    def operate(self, *others):
        result = plain(int(self), *(int(other) for other in others))
        return result if result is NotImplemented else Ranged(result)

    return operate


for _name in ("add", "sub", "mul", "floordiv", "mod", "lshift", "rshift", "and", "or", "xor"):
    for _side in ("", "r"):
        setattr(Ranged, f"__{_side}{_name}__", _checked(f"__{_side}{_name}__"))
for _name in ("__neg__", "__abs__", "__invert__"):
    setattr(Ranged, _name, _checked(_name))


class RangedArray:
    """A list that reads and keeps Ranged integers within the ends of its kind ('h' or 'i')."""

    def __init__(self, kind, values):
        self.end = 1 << (15 if kind == "h" else 31)
        self.values = [Ranged(value) for value in values]

    def __len__(self):
        return len(self.values)

    def __getitem__(self, index):
        if index < 0:
            raise IndexError(f"negative index {int(index)}: compiled code would wrap")
        return self.values[index]

    def __setitem__(self, index, value):
        if not -self.end <= value < self.end:
            raise OutOfRange(int(value))
        if index < 0:
            raise IndexError(f"negative index {int(index)}: compiled code would wrap")
        self.values[index] = Ranged(value)
