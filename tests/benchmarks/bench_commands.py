"""How long a person waits for the command line itself."""

import subprocess
import sys
import time


def rows(quick):
    """Time `nightkeel --help` in its own process; the best of several counts."""
    best = 9.0
    for _ in range(3 if quick else 10):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-m", "nightkeel", "--help"], capture_output=True, check=True)
        best = min(best, time.perf_counter() - start)
    yield "nightkeel --help", best * 1000, "ms", "under 300"
