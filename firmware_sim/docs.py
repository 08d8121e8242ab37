"""Generated tables of the documents: each block has one function, and the text is checked against it."""

import re
from collections.abc import Callable, Mapping

from firmware_sim.contract.errors import UserError

BLOCK = re.compile(r"(<!-- generated:([a-z0-9-]+) -->\n).*?(<!-- end:\2 -->)", re.DOTALL)

START = re.compile(r"<!-- generated:([a-z0-9-]+) -->")
END = re.compile(r"<!-- end:([a-z0-9-]+) -->")

BLOCKS: dict[str, Callable[[], str]] = {}


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


def table(heads: tuple[str, ...], rows: list[tuple[object, ...]]) -> str:
    """Write rows as a Markdown table; a bar inside a cell is escaped."""
    cells = [[str(cell).replace("|", "\\|") for cell in row] for row in [heads, *rows]]
    lines = ["| " + " | ".join(row) + " |" for row in cells]
    return "\n".join([lines[0], "|" + " --- |" * len(heads), *lines[1:]])
