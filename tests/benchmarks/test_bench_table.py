"""The table of figures: what stands in which column, and the exponent of growth."""

import importlib.util
from pathlib import Path

import pytest

HERE = Path(__file__).parent


def load(name):
    """Import a file beside this one, which is no package."""
    spec = importlib.util.spec_from_file_location(name, HERE / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def run():
    return load("run")


def test_a_name_says_its_peer(run):
    assert run.Row("open a frame, against struct + cobs", 1.0, "us").peer == "struct + cobs"
    assert run.Row("nothing beside it", 1.0, "us").peer == ""


def test_a_line_shows_value_peer_and_ratio(run, capsys):
    run.show(run.Row("open a frame, against cobs", 12.3456, "us", "fast", 0.5))
    words = capsys.readouterr().out.split()
    assert words == ["open", "a", "frame", "12.346", "us", "cobs", "0.50", "x", "fast"]


def test_files_are_chosen_by_a_part_of_their_name(run):
    assert [path.name for path in run.chosen(["codec", "query"])] == ["bench_codec.py", "bench_query.py"]
    assert len(run.chosen([])) == len(list(HERE.glob("bench_*.py")))
    assert run.chosen(["no such thing"]) == []


def test_the_machine_is_named_by_cores_and_memory_only(run):
    import platform

    said = run.machine()
    assert "cores" in said and "GB" in said
    assert platform.node() not in said


@pytest.mark.parametrize(("sizes", "figures", "slope"), [
    ((1, 10, 100), (2.0, 20.0, 200.0), 1.0),
    ((1, 10, 100), (5.0, 5.0, 5.0), 0.0),
    ((1, 30, 365), (1.0, 900.0, 365.0**2), 2.0),
])  # fmt: skip
def test_the_exponent_is_the_power(monkeypatch, sizes, figures, slope):
    """y = a x^n is a straight line of slope n in log-log (definition)."""
    monkeypatch.syspath_prepend(HERE)
    assert load("bench_growth").exponent(sizes, figures) == pytest.approx(slope)
