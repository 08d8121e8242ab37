"""Rules of style that a machine can hold: sizes, docstrings, and no machine's own paths or hosts."""

import ast
import ipaddress
import re
import subprocess
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]
PACKAGES = ("firmware_sim", "ingest", "dashboard")
SOURCES = [TOP / "nightkeel.py", *(path for name in PACKAGES for path in sorted((TOP / name).rglob("*.py")))]
TESTS = sorted((TOP / "tests").rglob("*.py"))
LONG_FUNCTION, LONG_FILE = 60, 500
ESCAPE = "# one loop on purpose"


def functions(tree):
    """Yield every function of a module, methods and inner ones too."""
    return (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))


def own_lines(node):
    """Count the lines of a function without its docstring and its decorators."""
    lines = node.end_lineno - node.lineno + 1
    if ast.get_docstring(node, clean=False) is None:
        return lines
    return lines - (node.body[0].end_lineno - node.body[0].lineno + 1)


def long_functions(source, where):
    """Name the functions over the limit that don't carry the escape comment."""
    lines = source.splitlines()
    for node in functions(ast.parse(source)):
        body = "\n".join(lines[node.lineno - 1 : node.end_lineno])
        if own_lines(node) > LONG_FUNCTION and ESCAPE not in body:
            yield f"{where}:{node.lineno} {node.name} has {own_lines(node)} lines"


def undocumented(source, where):
    """Name the public functions, classes and modules without a docstring."""
    tree = ast.parse(source)
    if ast.get_docstring(tree) is None:
        yield f"{where}: module"
    for node in public(tree.body):
        if ast.get_docstring(node) is None:
            yield f"{where}:{node.lineno} {node.name}"


def public(body):
    """Yield public functions and classes, and the public methods of public classes.

    A method that fills in a base class's promise (a dunder, a property's setter) needs none of its own.
    """
    for node in body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) and node.name[0] != "_":
            if any(isinstance(mark, ast.Attribute) and mark.attr == "setter" for mark in node.decorator_list):
                continue
            yield node
            if isinstance(node, ast.ClassDef):
                yield from public(node.body)


def relative(path):
    return str(path.relative_to(TOP))


def test_functions_are_short():
    for path in SOURCES + TESTS:
        assert list(long_functions(path.read_text("utf-8"), relative(path))) == []


def test_the_length_check_sees_a_long_function():
    long = "def f():\n" + "    x = 1\n" * LONG_FUNCTION
    assert list(long_functions(long, "planted")) == ["planted:1 f has 61 lines"]
    assert list(long_functions(long + f"    {ESCAPE}\n    y = 2\n", "planted")) == []
    assert list(long_functions("def f():\n" + "    x = 1\n" * (LONG_FUNCTION - 1), "planted")) == []


@pytest.mark.parametrize("path", SOURCES + TESTS, ids=relative)
def test_files_are_short(path):
    assert len(path.read_text("utf-8").splitlines()) <= LONG_FILE


def test_what_is_public_says_what_it_does():
    found = [line for path in SOURCES for line in undocumented(path.read_text("utf-8"), relative(path))]
    assert found == []


def test_the_docstring_check_sees_a_bare_function():
    planted = (
        '"""Module."""\n\ndef send(): pass\n\nclass Thing:\n    """Have one."""\n    def act(self): pass\n'
    )
    assert list(undocumented(planted, "planted")) == ["planted:3 send", "planted:7 act"]


# Loopback, private and documentation addresses are the only ones that belong in the project.
ADDRESS = re.compile(r"(?<![\d.])(\d{1,3}(?:\.\d{1,3}){3})(?![\d.])")
HOME = re.compile(r"(?<![\w.])/(?:home|root|Users)/[\w.-]+")
HOST = re.compile(r"https?://([A-Za-z0-9.-]+\.[A-Za-z]{2,})")
# Names of vocabularies and licences, which nothing fetches, and hosts reserved for examples.
HOSTS = ("apache.org", "w3.org", "loinc.org", "unitsofmeasure.org", "hl7.org", "doi.org", "example.org",
         ".invalid")
VERSIONS = "constraints.txt"  # version numbers look like addresses
THIRD_PARTY = "dashboard/assets/vendor/"  # not ours to word; a test of the pages sees that it fetches nothing


def strange_places(text):
    """Yield addresses of real machines, hosts, and paths of somebody's own disk."""
    for found in ADDRESS.findall(text):
        try:
            address = ipaddress.ip_address(found)
        except ValueError:
            continue
        if not (address.is_loopback or address.is_private or address.is_reserved or address.is_unspecified):
            yield found
    yield from HOME.findall(text)
    yield from (host for host in HOST.findall(text) if not host.endswith(HOSTS))
    if str(TOP) in text:
        yield str(TOP)


def test_no_file_names_a_machine_or_somebodys_disk():
    names = subprocess.run(["git", "ls-files", "-z"], cwd=TOP, capture_output=True, check=True).stdout
    found = []
    for name in filter(None, names.decode().split("\0")):
        path = TOP / name
        if not path.is_file() or name == VERSIONS or name.startswith(THIRD_PARTY):
            continue
        data = path.read_bytes()
        if b"\0" not in data[:4096]:
            found += [f"{name}: {place}" for place in strange_places(data.decode("utf-8", "replace"))]
    assert found == []


def test_the_place_check_sees_a_planted_path():
    home, far, host = "/home" + "/someone", "8.8." + "8.8", "https://" + "registry.test/simple"
    planted = f"see {home}/night.db at {far} or {host}, not 127.0.0.1, 192.0.2.1, 0.0.0.0, http://example.org"
    assert list(strange_places(planted)) == [far, home, "registry.test"]
