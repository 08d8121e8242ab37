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
        compiled = _compile(sources, cached=cache is not None)
    finally:
        numba.config.CACHE_DIR = before
    public = [name for name, value in vars(kernels).items() if callable(value)]
    return types.SimpleNamespace(**{name: compiled[name] for name in public})


def _compile(sources: dict[str, bytes], *, cached: bool) -> dict[str, Callable[..., Any]]:
    """Run each source in a namespace of its own and put compiled functions into all of them."""
    spaces: list[dict[str, Any]] = []
    compiled: dict[tuple[str, str], Any] = {}
    for stem, source in sources.items():
        path = FOLDER / f"{stem}.py"
        space: dict[str, Any] = {"__name__": f"{kernels.__name__}.{stem}", "__file__": str(path)}
        exec(compile(source, str(path), "exec"), space)
        spaces.append(space)
        for name, value in space.items():
            if isinstance(value, types.FunctionType) and value.__globals__ is space:
                # Kernels allocate nothing, so the compiled code may do without counting references.
                compiled[value.__module__, name] = numba.njit(value, cache=cached, _nrt=False)
    for space in spaces:
        for name, value in space.items():
            if isinstance(value, types.FunctionType):
                space[name] = compiled[value.__module__, value.__name__]
    return {name: function for (_, name), function in compiled.items()}


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
