"""Generated tables of the documents: each block has one function, and the text is checked against it."""

import re
from collections.abc import Callable, Mapping, Sequence

from firmware_sim.contract import channels, messages
from firmware_sim.contract.errors import UserError
from firmware_sim.ports.micropython.pins import PINS

BLOCK = re.compile(r"(<!-- generated:([a-z0-9-]+) -->\n).*?(<!-- end:\2 -->)", re.DOTALL)

START = re.compile(r"<!-- generated:([a-z0-9-]+) -->")
END = re.compile(r"<!-- end:([a-z0-9-]+) -->")

def rewrite(text: str, blocks: Mapping[str, Callable[[], str]], where: str) -> str:
    """Return the text with every generated block renewed.

    blocks maps a block's name to the function that writes it; where names the document in an error.
    Raise UserError for a block that nobody generates or that has no end.
    """
    for name in set(START.findall(text)) - set(END.findall(text)):
        raise UserError(f"{where}: the block '{name}' has no end; add the line <!-- end:{name} -->.")

    def renew(match: re.Match[str]) -> str:
        name = match[2]
        if name not in blocks:
            raise UserError(f"{where}: nobody generates the block '{name}'; add it to BLOCKS in a docs.py.")
        return f"{match[1]}{blocks[name]().strip()}\n{match[3]}"

    return BLOCK.sub(renew, text)


def table(heads: tuple[str, ...], rows: Sequence[tuple[object, ...]]) -> str:
    """Write rows as a Markdown table; a bar inside a cell is escaped."""
    cells = [[str(cell).replace("|", "\\|") for cell in row] for row in [heads, *rows]]
    lines = ["| " + " | ".join(row) + " |" for row in cells]
    return "\n".join([lines[0], "|" + " --- |" * len(heads), *lines[1:]])


def write_channels() -> str:
    """Write the channels with their range, the size of one converter code, rate and step on the wire."""
    rows: list[tuple[object, ...]] = []
    for number, name, unit, wire, code_low, code_high, low, high, rate in channels.CHANNELS:
        step = (high - low) / (code_high - code_low)
        fitted = "optional" if number >= channels.FIRST_OPTIONAL else "yes"
        span = f"{low:g} to {high:g}"
        codes = f"{code_low} to {code_high}"
        rows.append((number, f"`{name}`", unit, span, codes, f"{step:.6g}", rate, f"{1 / wire:g}", fitted))
    heads = ("id", "channel", "unit", "range", "codes", "one code", "samples/s", "wire step", "fitted")
    return table(heads, rows)


def write_messages() -> str:
    """Write every message with its direction and the bytes of its fixed part."""
    rows: list[tuple[object, ...]] = []
    for number, name, direction, reliable, _, tail in messages.MESSAGES:
        size = messages.LAYOUTS[number][2]
        kept = "kept until acknowledged" if reliable else "once"
        way = "module to host" if direction == "up" else "host to module"
        rows.append((f"0x{number:02X}", f"`{name}`", way, kept, size, f"{tail[1]} array" if tail else ""))
    return table(("type", "message", "way", "sent", "fixed bytes", "then"), rows)


def write_fields() -> str:
    """Write the fields of every message in wire order, the array that fills the rest last."""
    parts = []
    for number, name, _, _, fields, tail in messages.MESSAGES:
        listed = [*fields, *([(f"{tail[0]}[]", *tail[1:])] if tail else [])]
        rows = [(f"`{field}`", f"`{code}`", unit, scale) for field, code, unit, scale in listed]
        fields_table = table(("field", "code", "unit", "steps in a unit"), rows)
        parts.append(f"**0x{number:02X} {name}**\n\n{fields_table}")
    return "\n\n".join(parts)


def write_code_lists() -> str:
    """Write the named numbers that travel in one byte."""
    lists = {
        "supply state": channels.SUPPLY_STATES,
        "oxygen state": channels.OXYGEN_STATES,
        "sensor condition": channels.SENSOR_CONDITIONS,
        "mode": channels.MODES,
        "preset": channels.PRESETS,
        "breath": channels.BREATH_KINDS,
        "supply event": channels.SUPPLY_EVENT_KINDS,
        "event phase": channels.EVENT_PHASES,
        "capture": channels.CAPTURE_KINDS,
    }
    rows = [(name, ", ".join(f"{code} {word}" for code, word in enumerate(lists[name]))) for name in lists]
    return table(("what", "code and meaning"), rows)


def write_pins() -> str:
    """Write which pin of a real board does what."""
    rows = [(f"`{role}`", "not fitted" if pin is None else pin, what) for role, pin, what in PINS]
    return table(("role", "pin", "what hangs there"), rows)


BLOCKS: dict[str, Callable[[], str]] = {
    "channels": write_channels,
    "messages": write_messages,
    "message-fields": write_fields,
    "code-lists": write_code_lists,
    "pins": write_pins,
}
