"""The generator of tables inside the documents."""

import struct

import pytest

from firmware_sim.contract import messages
from firmware_sim.contract.errors import UserError
from firmware_sim.docs import BLOCKS, rewrite, table

TEXT = "before\n<!-- generated:pins -->\nold\n<!-- end:pins -->\nafter\n"


def test_a_block_is_renewed_and_the_rest_is_kept():
    once = rewrite(TEXT, {"pins": lambda: "new\n"}, "notes.md")
    assert once == TEXT.replace("old", "new")
    assert rewrite(once, {"pins": lambda: "new\n"}, "notes.md") == once


def test_an_empty_block_is_filled():
    empty = "<!-- generated:pins -->\n<!-- end:pins -->\n"
    assert rewrite(empty, {"pins": lambda: "x"}, "n.md") == "<!-- generated:pins -->\nx\n<!-- end:pins -->\n"


def test_a_block_of_nobody_is_refused():
    with pytest.raises(UserError, match=r"notes\.md: nobody generates the block 'pins'"):
        rewrite(TEXT, {}, "notes.md")


def test_a_block_without_an_end_is_refused():
    with pytest.raises(UserError, match=r"notes\.md: .*pins.*end:pins"):
        rewrite(TEXT.replace("<!-- end:pins -->", ""), {"pins": lambda: "x"}, "notes.md")


def test_a_table_escapes_bars():
    assert table(("a", "b"), [(1, "x|y")]) == "| a | b |\n| --- | --- |\n| 1 | x\\|y |"


def cells(block, column):
    """Read one column of a generated table."""
    lines = BLOCKS[block]().splitlines()
    at = lines[0].split(" | ").index(column)
    return [line.strip("| ").split(" | ")[at].strip("`") for line in lines[2:]]


def test_the_supply_taps_resolve_what_the_notes_say():
    """±800 V over 12 bits (worked out from the definition): 800 / 2048."""
    steps = dict(zip(cells("channels", "channel"), cells("channels", "one code"), strict=True))
    assert float(steps["supply_in"]) == 800 / 2048 == 0.390625
    assert steps["supply_in"] == steps["supply_out"]


def test_message_sizes_are_what_struct_says():
    """The standard library's own packing is the independent word on each fixed part."""
    wanted = [struct.calcsize("<" + "".join(field[1][0] for field in row[4])) for row in messages.MESSAGES]
    assert [int(size) for size in cells("messages", "fixed bytes")] == wanted


def test_every_message_has_its_fields_listed():
    text = BLOCKS["message-fields"]()
    for number, name, _, _, fields, _ in messages.MESSAGES:
        section = text.split(f"**0x{number:02X} {name}**")[1].split("**0x")[0]
        assert [line.split("`")[1] for line in section.splitlines() if "`" in line][: len(fields)] == [
            field[0] for field in fields
        ]
