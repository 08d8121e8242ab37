"""Read settings as people write them: NAME=VALUE, with or without the unit; refuse in words. Pure."""

import difflib
import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from firmware_sim.contract import settings as s
from ingest.errors import UserError

_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+))\s*(.*?)\s*")
# What else a unit of the table may be called.
_ALSO = {"% of nominal": ("%",), "/min": ("1/min", "per min", "bpm"), "": ("times",)}
NEAR = 3


def setting_named(name: str) -> Any:
    """Return a setting's row; raise UserError with the nearest names for an unknown one."""
    found = s.ID_OF.get(name)
    if found is not None:
        return s.SETTINGS[found]
    near = difflib.get_close_matches(name, s.ID_OF, NEAR, 0.5)
    near += [other for other in s.ID_OF if name and name in other and other not in near][: NEAR - len(near)]
    hint = f"did you mean {' or '.join(near)}?" if near else "`nightkeel settings show` lists them."
    raise UserError(f"There is no setting '{name}': {hint}")


def steps_of(row: Any, given: object) -> int:
    """Return a written value of a setting in its integer steps; raise UserError in one sentence.

    `given` is a text such as '35', '35 cmH2O' or 'child', or a number in the setting's unit. Bounds are
    checked by `checked`, over the whole set.
    """
    if row.name in s.CHOICES:
        words = s.CHOICES[row.name]
        if given not in words:
            raise UserError(f"{row.name} is one of {', '.join(words)}, not '{given}'.")
        return int(words.index(given))
    if isinstance(given, bool) or not isinstance(given, int | float | str):
        raise UserError(f"{row.name} needs a number{_in_unit(row)}, not {given!r}.")
    found = _NUMBER.fullmatch(given if isinstance(given, str) else format(Decimal(str(given)), "f"))
    if found is None:
        raise UserError(f"{row.name} needs a number{_in_unit(row)}, not '{given}'.")
    if not _is_unit(found[2], row.unit):
        raise UserError(f"{row.name} is set{_in_unit(row) or ' without a unit'}, not in '{found[2]}'.")
    steps = Decimal(found[1]) * row.scale
    if steps != steps.to_integral_value():
        finest = f"{Decimal(1) / row.scale}{_unit(row)}"
        raise UserError(f"{row.name} is set in steps of {finest}, not as {found[1]}.")
    if abs(steps) > 1 << 29:
        raise UserError(refused_bounds(row, found[1]))
    return int(steps)


def assignment(text: str) -> tuple[Any, int]:
    """Return (setting row, steps) of a text NAME=VALUE."""
    name, equals, value = text.partition("=")
    if not equals or not value.strip():
        raise UserError(f"'{text}' is no setting; write NAME=VALUE, such as pressure.high=35.")
    row = setting_named(name.strip())
    return row, steps_of(row, value.strip())


def assignments(texts: Mapping[str, object] | list[str] | tuple[str, ...]) -> dict[int, int]:
    """Return {setting id: steps} of several assignments, or of a mapping from names to values."""
    if isinstance(texts, Mapping):
        rows = [(setting_named(name), given) for name, given in texts.items()]
        pairs = [(row, steps_of(row, given)) for row, given in rows]
    else:
        pairs = [assignment(text) for text in texts]
    out: dict[int, int] = {}
    for row, steps in pairs:
        if row.id in out:
            raise UserError(f"{row.name} is given twice; give it once.")
        out[row.id] = steps
    return out


def checked(numbers: list[int]) -> list[int]:
    """Return a whole set of settings that is sound; raise UserError with the table's own reason."""
    refused = s.check(numbers)
    if refused is None:
        return numbers
    _, setting, sentence = refused
    named = "" if sentence.startswith(s.SETTINGS[setting].name) else f"{s.SETTINGS[setting].name}: "
    raise UserError(f"{named}{sentence}.")


def refused_bounds(row: Any, given: str) -> str:
    """Return the sentence for a value outside a setting's hard bounds."""
    low, high = s.in_units(row.id, row.low), s.in_units(row.id, row.high)
    return f"{row.name} must lie between {low} and {high}, not {given}{_unit(row)}."


def _is_unit(written: str, unit: str) -> bool:
    plain = "".join(written.split()).lower()
    known = ("", unit, *_ALSO.get(unit, ()))
    return plain in {"".join(one.split()).lower() for one in known}


def _unit(row: Any) -> str:
    return f" {row.unit}" if row.unit else ""


def _in_unit(row: Any) -> str:
    return f" in {row.unit}" if row.unit else ""
