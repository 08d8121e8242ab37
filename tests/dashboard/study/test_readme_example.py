"""The ten lines of the README run as they stand: from the demo's store to a figure of one's own."""

import re
from pathlib import Path

import matplotlib as mpl
import pytest

README = Path(__file__).parents[3] / "README.md"


@pytest.fixture
def example():
    (code,) = re.findall(r"```python\n(.*?)```", README.read_text(), flags=re.DOTALL)
    return code


def test_it_has_ten_lines_at_most(example):
    assert len([line for line in example.splitlines() if line.strip()]) <= 10


def test_it_draws_what_the_store_holds(example, supply_store, tmp_path, monkeypatch):
    (tmp_path / "var").mkdir()
    (tmp_path / "var" / "demo.db").write_bytes(supply_store.read_bytes())
    monkeypatch.chdir(tmp_path)
    left = {}
    with mpl.rc_context({"backend": "agg"}):
        exec(compile(example, str(README), "exec"), left)
    assert "<svg" in (tmp_path / "mains.svg").read_text()
    ten = left["volts"].resample("10min").mean()
    # Four hours at 231 V, half an hour of it dark.
    assert ten.notna().sum() == 21
    assert ten.dropna().to_numpy() == pytest.approx(231.0)
