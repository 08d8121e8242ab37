"""Compile the hot loops once, with a type that the checker believes."""

from collections.abc import Callable
from typing import Any, ParamSpec, TypeVar, cast

import numba
import numpy.typing as npt

P = ParamSpec("P")
R = TypeVar("R")

# float64, int64 and bool; numpy's own signatures widen them to "any float" on the way, so the checker sees
# Any
Floats = npt.NDArray[Any]
Ints = npt.NDArray[Any]
Bools = npt.NDArray[Any]
Codes = npt.NDArray[Any]


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a loop on arrays to machine code, kept on disk between runs.

    No fast-math: the order of the sums is part of the result.
    """
    return cast(Callable[P, R], numba.njit(cache=True, nogil=True)(function))


def compiled_any_order(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a loop whose sums may be taken in any order: faster, but last bits differ by processor."""
    return cast(
        Callable[P, R], numba.njit(cache=True, nogil=True, fastmath={"reassoc", "contract"})(function)
    )
