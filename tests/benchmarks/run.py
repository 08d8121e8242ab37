"""Run every bench_*.py and print its figures as one table.

A benchmark file has `rows(quick)`, a generator of Row. With --quick each takes seconds; the figures that
count come without it, on an idle machine.
"""

import argparse
import importlib.util
import json
import os
import platform
import sys
from pathlib import Path
from typing import NamedTuple

HERE = Path(__file__).parent
# The benchmarks use what the tests use.
sys.path.insert(0, str(HERE.parents[1]))


class Row(NamedTuple):
    """Hold one figure; ratio compares it with a peer and is None without one."""

    name: str
    figure: float
    unit: str
    goal: str = ""
    ratio: float | None = None


def load(path):
    """Import one benchmark file by its path."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def show(row):
    """Print one line of the table at once, since the next figure may take minutes."""
    ratio = "" if row.ratio is None else f"{row.ratio:8.2f} x"
    print(f"{row.name:<60} {row.figure:>14,.3f} {row.unit:<12} {ratio:>10}  {row.goal}", flush=True)


def main():
    """Run the files whose name contains one of the given words, or all of them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("words", nargs="*", help="only files whose name contains one of these")
    parser.add_argument("--quick", action="store_true", help="short runs: figures are rough")
    parser.add_argument("--json", type=Path, help="also write the rows to this file")
    options = parser.parse_args()
    print(f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}")
    print(f"{'figure':<60} {'value':>14} {'unit':<12} {'to peer':>10}  goal")
    rows = []
    for path in sorted(HERE.glob("bench_*.py")):
        if not options.words or any(word in path.name for word in options.words):
            for row in load(path).rows(quick=options.quick):
                rows.append(Row(*row))
                show(rows[-1])
    if options.json:
        options.json.write_text(json.dumps([row._asdict() for row in rows], indent=1))
    if not rows:
        sys.exit("no benchmark matches")


if __name__ == "__main__":
    main()
