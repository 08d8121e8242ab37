"""The block diagram: drawn from its text, whole, and with its insulation where danger ends."""

import xml.etree.ElementTree as ElementTree
from itertools import combinations
from pathlib import Path

import pytest

from firmware_sim.contract.errors import UserError
from firmware_sim.hardware import diagram

TOP = Path(__file__).resolve().parents[3]
SVG = "{http://www.w3.org/2000/svg}"
SOURCE = diagram.SOURCE.read_text("utf-8")


@pytest.fixture(scope="module")
def drawing():
    return diagram.read(SOURCE)


def test_the_file_is_the_text_s():
    assert (TOP / "hardware_notes" / "block_diagram.svg").read_text("utf-8") == diagram.write()


def test_every_word_is_drawn(drawing):
    root = ElementTree.fromstring(diagram.write())
    shown = [text.text for text in root.iter(f"{SVG}text")]
    for box in drawing.boxes.values():
        assert set(box.lines) <= set(shown)
    for *_, said in [*drawing.ways, *drawing.barriers]:
        assert said in shown
    assert len(list(root.iter(f"{SVG}marker"))) == 1
    assert not list(root.iter(f"{SVG}image"))


def test_boxes_stand_apart_and_inside(drawing):
    root = ElementTree.fromstring(diagram.write())
    width, height = int(root.get("width")), int(root.get("height"))
    for one, other in combinations(drawing.boxes.values(), 2):
        assert abs(one.x - other.x) >= diagram.WIDTH or abs(one.y - other.y) >= diagram.HEIGHT
    for box in drawing.boxes.values():
        assert box.x + diagram.WIDTH <= width and box.y + diagram.HEIGHT <= height
        # Twelve pixels of type are about six and a half wide.
        assert max(len(line) for line in box.lines) * 6.5 < diagram.WIDTH


def crossed(drawing, start, end):
    """Tell whether a barrier stands between two boxes, on the row of the first."""
    first, last = sorted((start.column, end.column))
    return any(
        first < column <= last and low <= start.row <= high for column, low, high, _ in drawing.barriers
    )


def test_nothing_leaves_the_mains_side_or_reaches_the_host_without_a_barrier(drawing):
    leaving = []
    for name, other, _ in drawing.ways:
        start, end = drawing.boxes[name], drawing.boxes[other]
        if (start.side == "mains") != (end.side == "mains") or (start.side == "host") != (end.side == "host"):
            leaving.append(name)
            assert crossed(drawing, start, end), f"{name} to {other} crosses no barrier"
    assert len(leaving) == 5


def test_the_check_sees_a_way_round_the_barrier():
    planted = diagram.read(SOURCE + "\nway battery sensor: none\n")
    start, end = planted.boxes["battery"], planted.boxes["sensor"]
    assert not crossed(planted, start, end)


@pytest.mark.parametrize(
    ("line", "because"),
    [
        ("way board nowhere: x", "nowhere"),
        ("box twin module 3 3: x", "taken"),
        ("box lost module 3: x", "values"),
        ("box lost nobody 7 7: x", "nobody"),
    ],
)
def test_a_line_that_can_t_be_drawn_is_named(line, because):
    with pytest.raises(UserError, match=because):
        diagram.read(f"{SOURCE}\n{line}\n")
