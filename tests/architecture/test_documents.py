"""The generator of tables inside the documents."""

import pytest

from firmware_sim.contract.errors import UserError
from firmware_sim.docs import rewrite, table

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
