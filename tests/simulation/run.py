"""Play seeds: `python tests/simulation/run.py --seeds 200`, or one of them: `--seed 42`.

Fresh seeds are drawn from the date, or from `--base`; what fails is printed with the command that plays it
again.
"""

import argparse
import os
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
if str(TOP) not in sys.path:
    sys.path.insert(0, str(TOP))

CHUNK = 10
MEMORY = Path("/dev/shm")
_KERNELS = []


def kernels():
    """Return the compiled kernels, loaded once a process."""
    if not _KERNELS:
        from firmware_sim.rig.runtimes import InProcess

        _KERNELS.append(InProcess().kernels)
    return _KERNELS[0]


def play(seed):
    """Play one seed; return (trace, counted faults, steps, what is broken or None)."""
    from tests.simulation.checks import Broken
    from tests.simulation.simulation import Simulation

    # The disk is simulated, so its files may lie in memory.
    with tempfile.TemporaryDirectory(dir=MEMORY if os.access(MEMORY, os.W_OK) else None) as folder:
        run = Simulation(seed, Path(folder), kernels())
        broken = None
        try:
            run.run()
        except Broken as error:
            broken = str(error)
        except Exception as error:
            broken = f"no exception reaches the loop: {type(error).__name__}: {error}"
        finally:
            run.abandon()
        return run.trace, run.faults.count, run.step_number, broken


def fresh(count, base=None):
    """Return the first seed of a fresh stretch: the day's, unless a base is named."""
    from tests.support.turns import today

    return (today() if base is None else base) * 1_000_000, count


def again(seed):
    """Return the command that plays a seed again."""
    return f"python tests/simulation/run.py --seed {seed}"


def play_chunk(seeds):
    """Play some seeds in a process of the pool."""
    return [(seed, *play(seed)) for seed in seeds]


def play_many(first, count, minutes, jobs, show):
    """Play seeds until they or the minutes run out; return (played, faults, steps, failures)."""
    end = time.monotonic() + minutes * 60 if minutes else float("inf")
    faults, failures, played, steps, following = Counter(), [], 0, 0, first
    with ProcessPoolExecutor(jobs) as pool:
        running = set()
        while running or (following < first + count and time.monotonic() < end):
            while len(running) < 2 * jobs and following < first + count and time.monotonic() < end:
                upto = min(following + CHUNK, first + count)
                running.add(pool.submit(play_chunk, range(following, upto)))
                following = upto
            done, running = wait(running, return_when=FIRST_COMPLETED)
            for seed, _, counted, took, broken in (row for one in done for row in one.result()):
                played += 1
                steps += took
                faults += counted
                if broken:
                    failures.append((seed, broken))
                    show(f"\nseed {seed}: {broken}\n  again: {again(seed)}\n")
            show(f"\r{bar(played, count)} {played}/{count} seeds, {len(failures)} failed")
    show("\n")
    return played, faults, steps, failures


def bar(done, whole, width=30):
    """Return a progress bar."""
    full = width * done // max(whole, 1)
    return "[" + "#" * full + "." * (width - full) + "]"


def main():
    """Play what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=200, help="how many fresh seeds")
    parser.add_argument("--minutes", type=float, help="stop after so many minutes")
    parser.add_argument("--seed", type=int, help="play this one seed")
    parser.add_argument("--base", type=int, help="draw the fresh seeds from this number, not from the date")
    parser.add_argument("--jobs", type=int, default=os.cpu_count(), help="processes")
    options = parser.parse_args()
    if options.seed is not None:
        trace, counted, steps, broken = play(options.seed)
        print(f"seed {options.seed}: trace {trace}, {steps / 10:.0f} virtual s, faults {dict(counted)}")
        print(broken or "every promise held")
        return 1 if broken else 0
    began = time.monotonic()
    first, count = fresh(options.seeds, options.base)
    played, counted, steps, failures = play_many(
        first, count, options.minutes, options.jobs, lambda text: print(text, end="", flush=True))
    hours, took = steps / 36_000, time.monotonic() - began
    print(f"{played} seeds from {first}: {hours:.1f} virtual hours in {took:.0f} s, {counted.total()} faults")
    for name, number in sorted(counted.items()):
        print(f"  {name:20} {number}")
    for seed, broken in failures:
        print(f"FAILED {broken}\n  again: {again(seed)}")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
