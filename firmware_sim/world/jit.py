"""Compile the step functions; the only place of this room that names the compiler."""

from typing import cast

from firmware_sim import compiler
from firmware_sim.compiler import F


def compiled(function: F) -> F:
    """Compile a pure step function and keep its type.

    Contraction to fused multiply-add stays off, so that floats are equal on every machine; only
    + - * / and square root may be used, never exp or sin, whose last bit differs between libraries.
    Nothing is allocated, so references aren't counted: that alone took half of the plant's time.
    """
    return compiler.compiled(function, error_model="numpy", forceinline=True, _nrt=False)


def compiled_and_kept(function: F) -> F:
    """Compile and keep the machine code on disk; only for the outermost function (see `tick.py`)."""
    return compiler.kept(function, error_model="numpy", _nrt=False)


def plain(function: F) -> F:
    """Return a compiled function as it was written, for the few calls at set-up; it may call no other one."""
    return cast(F, function.py_func)  # type: ignore[attr-defined]


def kept(function: F) -> F:
    """Return a copy of a compiled function for calls from outside, its machine code kept on disk.

    It may call functions of its own file only: the compiler asks no other whether what it kept still holds.
    """
    return compiled_and_kept(plain(function))
