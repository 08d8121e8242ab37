"""Compile the hot loops once, with a type that the checker believes."""

from collections.abc import Callable
from typing import Any, ParamSpec, TypeVar, cast

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
    return _machine_code(function)


def compiled_any_order(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a loop whose sums may be taken in any order: faster, but last bits differ by processor."""
    return _machine_code(function, fastmath={"reassoc", "contract"})


def _machine_code(function: Callable[P, R], **options: Any) -> Callable[P, R]:
    # Here alone: modules that take only the types from this file must not load the compiler.
    import numba

    return cast(Callable[P, R], numba.njit(cache=True, nogil=True, **options)(function))
