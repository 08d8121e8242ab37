"""The compiled copy of the kernels: same names, nothing patched, and no cache folder needed."""

import os
import subprocess
import sys
import types

from firmware_sim import compiled, kernels


def test_same_names_and_nothing_patched(fast):
    public = {name for name, value in vars(kernels).items() if callable(value)}
    assert set(vars(fast)) == public
    assert all(isinstance(getattr(kernels, name), types.FunctionType) for name in public)
    assert all(not isinstance(getattr(fast, name), types.FunctionType) for name in public)


def test_digest_covers_what_is_imported():
    sources = {"a": "from firmware_sim.kernels.b import X\n", "b": "X = 1\n", "c": "Y = 2\n"}
    first = compiled._digest("a", sources)
    assert compiled._digest("a", {**sources, "c": "Y = 3\n"}) == first
    assert compiled._digest("a", {**sources, "b": "X = 2\n"}) != first


def test_works_where_nothing_can_be_written(tmp_path):
    """An install and a home that are read-only: compiled anew, no crash, nothing left behind."""
    blocked = tmp_path / "cache"
    blocked.write_text("a file where the cache folder should be")
    code = (
        "from array import array\n"
        "from firmware_sim import compiled, kernels\n"
        "assert compiled._cache_folder('x') is None\n"
        "state = array('i', bytes(4 * kernels.battery.BATTERY_STATE))\n"
        "compiled.load().battery_second(state, 1, 1); print(list(state)[:1])\n"
    )
    environment = {
        **os.environ,
        "XDG_CACHE_HOME": str(blocked),
        "PYTHONPATH": str(compiled.FOLDER.parents[1]),
    }
    done = subprocess.run(
        [sys.executable, "-c", code],
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "[0]"
    assert list(tmp_path.iterdir()) == [blocked]
