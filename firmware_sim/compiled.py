"""Compile the kernels by numba in a private copy of their modules (host only).

The copy is needed because compiled code can't call a plain helper: in it every function is compiled, so
that calls among them stay inside. `firmware_sim.kernels` itself is never patched. Machine code is kept
in the user's cache folder under a digest of the sources it was made from; where nothing can be written
there, it is compiled anew in each process.
"""

import builtins
import contextlib
import hashlib
import os
import pathlib
import re
import tempfile
import types
from collections.abc import Iterator
from typing import Any

import numba

from firmware_sim import kernels
from firmware_sim.compiler import compiled, kept

FOLDER = pathlib.Path(kernels.__file__).parent
_IMPORT = re.compile(r"^from firmware_sim\.kernels\.(\w+) import", re.MULTILINE)


def load(*files: str) -> types.SimpleNamespace:
    """Return the compiled kernels under their names in `firmware_sim.kernels`: those of `files`, or all."""
    sources = {path.stem: path.read_text("utf-8") for path in sorted(FOLDER.glob("[a-z]*.py"))}
    spaces: dict[str, dict[str, Any]] = {}
    for stem in files or sources:
        _run(stem, sources, spaces)
    machine_code: dict[tuple[str, str], Any] = {}
    for stem, space in spaces.items():
        with _caching(_digest(stem, sources)) as cached:
            for name, value in space.items():
                if isinstance(value, types.FunctionType) and value.__globals__ is space:
                    # Kernels allocate nothing, so the compiled code may do without counting references.
                    compile_it = kept if cached else compiled
                    machine_code[value.__module__, name] = compile_it(value, _nrt=False)
    for space in spaces.values():
        for name, value in space.items():
            if isinstance(value, types.FunctionType):
                space[name] = machine_code[value.__module__, value.__name__]
    public = [name for name, value in vars(kernels).items() if callable(value)]
    by_name = {name: dispatcher for (_, name), dispatcher in machine_code.items()}
    return types.SimpleNamespace(**{name: by_name[name] for name in public if name in by_name})


def _run(stem: str, sources: dict[str, str], spaces: dict[str, dict[str, Any]]) -> dict[str, Any]:
    """Run a module's source in a namespace of its own, and those it imports from in theirs.

    So the constants come from the same text as the digest, even if files change while the process runs.
    """
    if stem in spaces:
        return spaces[stem]

    def load_private(name: str, *rest: Any) -> Any:
        if name.startswith(f"{kernels.__name__}."):
            return types.SimpleNamespace(**_run(name.rpartition(".")[2], sources, spaces))
        return __import__(name, *rest)

    path = FOLDER / f"{stem}.py"
    space: dict[str, Any] = {"__name__": f"{kernels.__name__}.{stem}", "__file__": str(path)}
    space["__builtins__"] = {**vars(builtins), "__import__": load_private}
    exec(compile(sources[stem], str(path), "exec"), space)
    spaces[stem] = space
    return space


def _digest(stem: str, sources: dict[str, str]) -> str:
    """Return a digest of a module and of all kernels it imports: numba looks at one file only."""
    needed = {stem}
    queue = [stem]
    while queue:
        for other in _IMPORT.findall(sources[queue.pop()]):
            if other not in needed:
                needed.add(other)
                queue.append(other)
    text = "\0".join(sources[name] for name in sorted(needed))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


@contextlib.contextmanager
def _caching(digest: str) -> Iterator[bool]:
    """Point numba's cache at our folder while functions are declared; False where there is none."""
    folder = _cache_folder(digest)
    config: Any = numba.config
    before = config.CACHE_DIR
    if folder is not None:
        config.CACHE_DIR = str(folder)
    try:
        yield folder is not None
    finally:
        config.CACHE_DIR = before


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
