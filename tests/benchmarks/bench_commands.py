"""How long a person waits for the command line itself."""

import subprocess
import sys
import time

BARE = "import click; click.Command('bare')(['--help'])"


def best_ms(times, *words):
    """Return the least milliseconds of a process of its own."""
    least = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        subprocess.run([sys.executable, *words], capture_output=True, check=True)
        least = min(least, time.perf_counter() - start)
    return least * 1000


def rows(quick):
    """Time `nightkeel --help`, beside a program of one line that does nothing but parse."""
    times = 3 if quick else 10
    ours, bare = best_ms(times, "-m", "nightkeel", "--help"), best_ms(times, "-c", BARE)
    yield "nightkeel --help, against a click program of one line", ours, "ms", "under 300", bare / ours
