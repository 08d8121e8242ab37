"""Draw the block diagram from its text: `hardware_notes/block_diagram.txt` becomes an SVG.

A line is `side NAME: title`, `box NAME SIDE COLUMN ROW: text / second line`, `barrier COLUMN FIRST LAST:
text` (before that column, along these rows) or `way FROM TO: text` (an arrow). Columns and rows count from 0.
Everything else is a comment.
"""

from html import escape
from pathlib import Path
from typing import NamedTuple

from firmware_sim.contract.errors import UserError

SOURCE = Path(__file__).resolve().parents[2] / "hardware_notes" / "block_diagram.txt"
WIDTH, HEIGHT, GAP_X, GAP_Y, MARGIN, TOP = 190, 62, 58, 30, 24, 56
# Fill and line of the sides, in the order in which the text names them; dark text stands on all of them.
COLOURS = (("#f6ded6", "#8c3b22"), ("#dbe9f4", "#1f4e79"), ("#e9e6dc", "#5a5340"), ("#e3efdf", "#3c6132"))


class Box(NamedTuple):
    """A box at a column and a row."""

    side: str
    column: int
    row: int
    lines: tuple[str, ...]

    @property
    def x(self) -> int:
        """Left edge."""
        return MARGIN + self.column * (WIDTH + GAP_X)

    @property
    def y(self) -> int:
        """Upper edge."""
        return TOP + self.row * (HEIGHT + GAP_Y)


class Drawing(NamedTuple):
    """What the text says."""

    sides: dict[str, str]
    boxes: dict[str, Box]
    barriers: list[tuple[int, int, int, str]]
    ways: list[tuple[str, str, str]]


def read(text: str) -> Drawing:
    """Read the text; raise UserError for a line that says nothing known."""
    drawing = Drawing({}, {}, [], [])
    for number, line in enumerate(text.splitlines(), 1):
        head, _, rest = line.partition(":")
        words, said = head.split(), rest.strip()
        if not words or words[0] not in ("side", "box", "barrier", "way"):
            continue
        try:
            _take(drawing, words, said)
        except (ValueError, KeyError) as error:
            raise UserError(f"block_diagram.txt, line {number}: cannot draw '{line}' ({error}).") from None
    return drawing


def _take(drawing: Drawing, words: list[str], said: str) -> None:
    kind, *rest = words
    if kind == "side":
        (name,) = rest
        drawing.sides[name] = said
    elif kind == "box":
        name, side, column, row = rest
        box = Box(side, int(column), int(row), tuple(part.strip() for part in said.split("/")))
        drawing.sides[side]
        if any((other.column, other.row) == (box.column, box.row) for other in drawing.boxes.values()):
            raise ValueError("the place is taken")
        drawing.boxes[name] = box
    elif kind == "barrier":
        at, first, last = map(int, rest)
        drawing.barriers.append((at, first, last, said))
    else:
        start, end = rest
        drawing.boxes[start], drawing.boxes[end]
        drawing.ways.append((start, end, said))


def way(start: Box, end: Box) -> tuple[int, int, int, int, int, int]:
    """Return where an arrow begins and ends, and where its words stand: between facing edges."""
    if start.column == end.column:
        down = end.row > start.row
        x = start.x + WIDTH // 2
        first, last = (start.y + HEIGHT, end.y) if down else (start.y, end.y + HEIGHT)
        return x, first, x, last, x + 6, (first + last) // 2 + 4
    right = end.column > start.column
    first, last = (start.x + WIDTH, end.x) if right else (start.x, end.x + WIDTH)
    y1, y2 = start.y + HEIGHT // 2, end.y + HEIGHT // 2
    return first, y1, last, y2, (first + last) // 2, (y1 + y2) // 2 - 5


def draw(drawing: Drawing) -> str:
    """Draw; colours, text and arrows stand alone, and a screen reader is told the title."""
    boxes = drawing.boxes.values()
    width = max(box.x for box in boxes) + WIDTH + MARGIN
    height = max(box.y for box in boxes) + HEIGHT + MARGIN + 22
    colours = dict(zip(drawing.sides, COLOURS, strict=False))
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}" '
        'font-family="sans-serif" font-size="12" role="img">',
        "<title>Block diagram: from mains, oxygen and circuit to the host</title>",
        '<defs><marker id="tip" viewBox="0 0 8 8" refX="7" refY="4" markerWidth="8" markerHeight="8" '
        'orient="auto"><path d="M0 0 8 4 0 8z" fill="#333"/></marker></defs>',
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
    ]
    for column, first, last, said in drawing.barriers:
        x = MARGIN + column * (WIDTH + GAP_X) - GAP_X // 2
        top, bottom = TOP + first * (HEIGHT + GAP_Y) - 12, TOP + last * (HEIGHT + GAP_Y) + HEIGHT + 8
        out.append(
            f'<path d="M{x} {top}V{bottom}" stroke="#b00020" stroke-width="3" stroke-dasharray="9 6" '
            'fill="none"/>'
        )
        out.append(f'<text x="{x}" y="{top - 6}" text-anchor="middle" fill="#b00020">{escape(said)}</text>')
    for start, end, said in drawing.ways:
        x1, y1, x2, y2, x, y = way(drawing.boxes[start], drawing.boxes[end])
        anchor = "start" if x1 == x2 else "middle"
        out.append(
            f'<path d="M{x1} {y1}L{x2} {y2}" stroke="#333" stroke-width="1.5" fill="none" '
            'marker-end="url(#tip)"/>'
        )
        out.append(
            f'<text x="{x}" y="{y}" text-anchor="{anchor}" font-size="10" fill="#333" stroke="#fff" '
            f'stroke-width="3" paint-order="stroke">{escape(said)}</text>'
        )
    for box in boxes:
        fill, line = colours[box.side]
        out.append(
            f'<rect x="{box.x}" y="{box.y}" width="{WIDTH}" height="{HEIGHT}" rx="4" fill="{fill}" '
            f'stroke="{line}" stroke-width="1.5"/>'
        )
        first = box.y + HEIGHT // 2 + 4 - 8 * (len(box.lines) - 1)
        out += [
            f'<text x="{box.x + WIDTH // 2}" y="{first + 16 * number}" text-anchor="middle" fill="#111">'
            f"{escape(words)}</text>"
            for number, words in enumerate(box.lines)
        ]
    x = MARGIN
    for side, title in drawing.sides.items():
        fill, line = colours[side]
        out.append(f'<rect x="{x}" y="{height - 26}" width="14" height="14" fill="{fill}" stroke="{line}"/>')
        out.append(f'<text x="{x + 20}" y="{height - 15}" fill="#111">{escape(title)}</text>')
        x += 40 + 7 * len(title)
    return "\n".join([*out, "</svg>", ""])


def write() -> str:
    """Draw the repository's own text."""
    return draw(read(SOURCE.read_text("utf-8")))
