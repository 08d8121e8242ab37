"""Line protocol, our own encoding: numeric fields only, names as tags, time stamps in ms.

Each field is written as an integer with a decimal exponent ("23001e-2"), which the protocol reads as a
floating-point number: no field ever changes its type, and no digit is lost on the way. The exponent is that
of the field's scale in the contract. The syntax is that of the InfluxDB v2 line protocol reference.
"""

from collections.abc import Iterable, Sequence

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


def template(start: str, fields: Fields, missing: int) -> str:
    """Return the printf format of a kind of line; it takes every field's integer, then the UTC in ms.

    Bit n of `missing` says that field n is left out: its place is taken and prints nothing. Empty when no
    field is left.
    """
    parts, skipped = [], ""
    for place, (name, scale) in enumerate(fields):
        if missing >> place & 1:
            skipped += "%.0s"
        else:
            parts.append(f"{skipped}{name}=%d{_exponent(scale)}")
            skipped = ""
    if not parts:
        return ""
    return start.replace("%", "%%") + " " + ",".join(parts) + skipped + " %d"
