"""Compile plant and kernels once, side by side, so that whatever starts next finds them: `python -m` this.

A process that finds no machine code kept compiles for itself; the workers of a suite would all do the same.
"""

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

from firmware_sim.rig.runtimes import InProcess
from firmware_sim.scenarios import load
from firmware_sim.world.plant import Plant


def warm_plant() -> None:
    """Compile the plant by a step of it; a scenario with drawn events uses all there is."""
    Plant(load("hospital-day")).advance(1)


def warm_kernels() -> None:
    """Compile the kernels by a second of firmware."""
    InProcess()


def main() -> None:
    """Compile both at the same time."""
    with ProcessPoolExecutor(2, get_context("spawn")) as pool:
        for part in [pool.submit(warm_plant), pool.submit(warm_kernels)]:
            part.result()


if __name__ == "__main__":
    main()
