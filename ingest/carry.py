"""Carry data out without a network: copy files to a stick or folder, prove the copy, say when to pull it.

A store is copied by SQLite's online backup, so it may be in use; other files are copied as they are. Beside
them lies `SHA256SUMS`, in the form that `sha256sum -c` reads on any machine. A copy has its name only when it
was read back whole.
"""

import hashlib
import os
import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from ingest.errors import UserError
from ingest.store.backup import backup

SUMS = "SHA256SUMS"
# Kept free on the target beside what is copied; a full file system loses its last writes.
SPARE_BYTES = 8 * 1024 * 1024
BLOCK = 1 << 20
Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """Hold what lies in the folder now: (name, bytes, SHA-256) of each file."""

    folder: Path
    files: tuple[tuple[str, int, str], ...]


def carry_out(
    store: Path, folder: Path, others: Sequence[Path] = (), say: Progress = lambda line: None
) -> Carried:
    """Copy a store and other files into a new folder; raise UserError, nothing left behind, when it fails."""
    sources = [store, *others]
    _admit(folder, sources)
    unfinished = folder.with_name(folder.name + ".unfinished")
    shutil.rmtree(unfinished, ignore_errors=True)
    try:
        unfinished.mkdir()
        say(store.name)
        backup(store, unfinished / store.name)
        for path in others:
            say(path.name)
            _copy(path, unfinished / path.name)
        files = _sums(unfinished)
        _write(unfinished / SUMS, "".join(f"{digest}  {name}\n" for name, _, digest in files))
        _flush(unfinished)
        unfinished.rename(folder)
        _flush(folder.parent)
    except OSError as error:
        why = error.strerror or error
        raise UserError(f"{folder} could not be written: {why}; nothing was left there.") from error
    finally:
        shutil.rmtree(unfinished, ignore_errors=True)
    check(folder)
    return Carried(folder=folder, files=files)


def _admit(folder: Path, sources: Sequence[Path]) -> None:
    if folder.exists():
        raise UserError(f"{folder} is there already and stays as it is; name another folder.")
    if not folder.parent.is_dir():
        raise UserError(f"{folder.parent} doesn't exist; plug the stick in, or make the folder first.")
    names = [path.name for path in sources]
    for path in sources:
        if not path.is_file():
            raise UserError(f"There is no file {path}; name what is there.")
    if len(set(names)) < len(names) or SUMS in names:
        raise UserError("Two of the files have the same name; carry them one after another.")
    needed = sum(_size(path) for path in sources) + SPARE_BYTES
    free = shutil.disk_usage(folder.parent).free
    if free < needed:
        raise UserError(
            f"{folder.parent} has {free // 1_000_000} MB free, {needed // 1_000_000} MB are needed; "
            "make room or take another stick."
        )


def _size(path: Path) -> int:
    """Return the bytes of a file, with the log of a store that is in use."""
    log = path.with_name(path.name + "-wal")
    return path.stat().st_size + (log.stat().st_size if log.exists() else 0)


def _copy(source: Path, target: Path) -> None:
    with open(source, "rb") as reading, open(target, "xb") as writing:
        shutil.copyfileobj(reading, writing, BLOCK)
        writing.flush()
        os.fsync(writing.fileno())
    if digest_of(source) != digest_of(target):
        raise UserError(f"The copy of {source} does not read back as written; carry it out again.")


def _write(path: Path, text: str) -> None:
    with open(path, "x", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


def _flush(folder: Path) -> None:
    """Let the folder's own entries reach the disk: then it may be pulled."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _sums(folder: Path) -> tuple[tuple[str, int, str], ...]:
    paths = sorted(path for path in folder.iterdir() if path.name != SUMS)
    return tuple((path.name, path.stat().st_size, digest_of(path)) for path in paths)


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a file, past the system's cache where that can be asked for."""
    with open(path, "rb") as file:
        if hasattr(os, "posix_fadvise"):
            os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        return hashlib.file_digest(file, "sha256").hexdigest()


def check(folder: Path) -> Carried:
    """Read a carried folder back against its sums; raise UserError for the first file that differs."""
    try:
        lines = (folder / SUMS).read_text("utf-8").splitlines()
        listed = {name: digest for digest, name in (line.split("  ", 1) for line in lines)}
    except (OSError, ValueError):
        raise UserError(f"{folder} holds no readable {SUMS}; it was not carried out whole.") from None
    found = []
    for name, digest in listed.items():
        path = folder / name
        if "/" in name or not path.is_file():
            raise UserError(f"{folder} lacks {name}; carry it out again.")
        if digest_of(path) != digest:
            raise UserError(f"{path} does not read back as it was written; take another stick.")
        found.append((name, path.stat().st_size, digest))
    return Carried(folder=folder, files=tuple(found))
