"""Compile the kernels by numba in a private copy of their modules (host only).

The copy is needed because compiled code can't call a plain helper: in it every function is compiled, so
that calls among them stay inside. `firmware_sim.kernels` itself is never patched. Machine code is kept
in the user's cache folder under a digest of all kernel sources; where nothing can be written there, it
is compiled anew in each process.
"""

import hashlib
import os
import pathlib
import tempfile
import types
from collections.abc import Callable
from typing import Any

import numba

from firmware_sim import kernels

FOLDER = pathlib.Path(kernels.__file__).parent


def load() -> types.SimpleNamespace:
    """Return the compiled kernels: the same function names as `firmware_sim.kernels`."""
    files = sorted(path for path in FOLDER.glob("*.py") if path.stem != "__init__")
    sources = {path.stem: path.read_bytes() for path in files}
    cache = _cache_folder(hashlib.sha256(b"\0".join(sources.values())).hexdigest()[:16])
    before = numba.config.CACHE_DIR
    try:
        if cache is not None:
            numba.config.CACHE_DIR = str(cache)
        compiled: dict[str, Callable[..., Any]] = {}
        for name, source in sources.items():
            compiled.update(_compile(name, source, cached=cache is not None))
    finally:
        numba.config.CACHE_DIR = before
    public = [name for name, value in vars(kernels).items() if callable(value)]
    return types.SimpleNamespace(**{name: compiled[name] for name in public})


def _compile(name: str, source: bytes, *, cached: bool) -> dict[str, Callable[..., Any]]:
    path = FOLDER / f"{name}.py"
    namespace: dict[str, Any] = {"__name__": f"firmware_sim.kernels.{name}", "__file__": str(path)}
    exec(compile(source, str(path), "exec"), namespace)
    functions = {key: value for key, value in namespace.items() if isinstance(value, types.FunctionType)}
    for key, function in functions.items():
        # Kernels allocate nothing, so the compiled code may do without counting references.
        namespace[key] = numba.njit(function, cache=cached, _nrt=False)
    return {key: namespace[key] for key in functions}


def _cache_folder(digest: str) -> pathlib.Path | None:
    """Return a folder of our own that can be written, or None."""
    base = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
    folder = pathlib.Path(base) / "nightkeel" / "kernels" / digest
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return folder
    except OSError:
        return None
