"""Make a costly file once for all the workers of a test run."""

import fcntl
import os
from pathlib import Path


def once(tmp_path_factory, name, make) -> Path:
    """Return the file `name`, made by `make(path)` if no worker has made it; it may only be read."""
    folder = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent
    path, done = folder / name, folder / f"{name}.done"
    with (folder / f"{name}.making").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not done.exists():
            make(path)
            done.touch()
    return path
