"""Line protocol, our own encoder: numeric fields only, names as tags, time stamps in ms.

Each field is written as an integer with a decimal exponent ("23001e-2"), which the protocol reads as a
floating-point number: no field ever changes its type, and no digit is lost on the way. The syntax is that
of the InfluxDB v2 line protocol reference.
"""

from collections.abc import Callable, Iterable, Sequence
from operator import itemgetter
from typing import Any

# Fields of one message: (name, scale); scale is a power of ten.
Fields = Sequence[tuple[str, int]]
_ESCAPES = str.maketrans({",": r"\,", "=": r"\=", " ": r"\ ", "\n": " ", "\r": " ", "\t": " "})


def tag_text(text: str) -> str:
    """Escape a tag's value; a trailing backslash would escape the comma behind it."""
    return text.translate(_ESCAPES).rstrip("\\")


def head(measurement: str, tags: Iterable[tuple[str, str]]) -> str:
    """Return measurement and tags, empty ones left out, sorted by name as the servers like it."""
    kept = sorted((name, tag_text(value)) for name, value in tags if value)
    return ",".join([measurement, *(f"{name}={value}" for name, value in kept)])


def _exponent(scale: int) -> str:
    digits = len(str(scale)) - 1
    assert 10**digits == scale, "scales on the wire are powers of ten"
    return f"e-{digits}" if digits else "e0"


class LineEncoder:
    """Turn rows of integers and Nones into lines of one measurement; a row of Nones gives no line."""

    def __init__(self, fields: Fields) -> None:
        self._parts = [f"{name}=%d{_exponent(scale)}" for name, scale in fields]
        self._missing: tuple[bool, ...] | None = None
        self._template = ""
        self._pick: Callable[[Any], Any] = tuple
        self._absent = 0

    def line(self, start: str, row: tuple[int | None, ...], utc_ms: int) -> str:
        """Return one line, or an empty text when every value is missing."""
        # Rows usually lack the same values as the one before: its template then serves again.
        values = self._pick(row)
        if None in values or row.count(None) != self._absent or self._missing is None:
            self._learn(row)
            if self._absent == len(row):
                return ""
            values = self._pick(row)
        return f"{start} {self._template % values} {utc_ms}"

    def _learn(self, row: tuple[int | None, ...]) -> None:
        self._missing = tuple(value is None for value in row)
        self._absent = row.count(None)
        present = [place for place, value in enumerate(row) if value is not None]
        self._template = ",".join(self._parts[place] for place in present)
        if len(present) == 1:
            only = present[0]
            self._pick = lambda one: (one[only],)
        elif present:
            self._pick = itemgetter(*present)
        else:
            self._pick = lambda one: (None,)
