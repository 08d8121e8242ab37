"""The compiler of the hot loops: machine code is made once, and what was kept is loaded without more ado.

Before it loads what it kept, numba would prepare to compile: all its tables of Python's and numpy's
functions, and scipy's linear algebra, to know whether it may multiply matrices. That is a third of a second
at the start of each command, and a kept function has no use for it. One that isn't kept yet is prepared for
as ever.
"""

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba
from numba.core.caching import FunctionCache
from numba.core.runtime.nrt import rtsys

F = TypeVar("F", bound=Callable[..., Any])


def compiled(function: F, **options: Any) -> F:
    """Return a function that is compiled when it is first called."""
    return cast(F, numba.njit(function, **options))


def kept(function: F, **options: Any) -> F:
    """Return a function that is compiled when it is first called, and kept on disk where numba does it."""
    dispatcher: Any = compiled(function, **options)
    cache: Any = _Kept
    dispatcher._cache = cache(function)
    return cast(F, dispatcher)


class _Kept(FunctionCache):
    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """Return what was kept for a signature, None when there is nothing; refresh no table before."""
        untyped: Any = self
        # The helpers that kept code calls.
        rtsys.initialize(target_context)
        with untyped._guard_against_spurious_io_errors():
            return untyped._load_overload(sig, target_context)
