"""Real file systems that fail: one that is full, one that may only be read. Mounting needs root."""

import subprocess

import pytest

from ingest.errors import UserError
from ingest.inline import Inline
from ingest.pipeline import this_contract
from ingest.store.reader import open_reader
from ingest.store.verify import verify
from ingest.store.writer import Writer
from tests.support.module_double import ModuleDouble
from tests.support.store_check import check_whole

UTC = 1_700_000_000_000


@pytest.fixture
def disk(tmp_path):
    """A small file system in memory; return its folder and a function that mounts it anew with options."""
    folder = tmp_path / "disk"
    folder.mkdir()

    def mount(*words):
        done = subprocess.run(["mount", *words, str(folder)], capture_output=True, text=True, check=False)
        if done.returncode:
            pytest.skip(f"this process may not mount: {done.stderr.strip()}")

    mount("-t", "tmpfs", "-o", "size=1m", "none")
    yield folder, lambda options: mount("-o", f"remount,{options}")
    subprocess.run(["umount", "-l", str(folder)], check=True)


def feed(module, inline, seconds):
    """Let a module talk to a host for some seconds of its own time."""
    for _ in range(seconds):
        module.second()
        now = module.tick
        module.receive(inline.feed(module.send(), now, UTC + now))


def test_a_disk_that_fills_up_keeps_what_was_acknowledged_and_goes_on_with_room(disk):
    folder, again = disk
    module, store = ModuleDouble(this_contract()), folder / "night.db"
    inline = Inline(store, UTC, commit_ms=5000)
    with pytest.raises(UserError, match="is full; free some space"):
        feed(module, inline, 20_000)
    # The log can't be folded into the file either: the process dies as it stands.
    inline.writer.connection.close()
    inline.writer._lock.close()
    acked = module.acked
    assert acked > 200
    again("size=20m")
    inline = Inline(store, UTC, commit_ms=5000)
    check_whole(store, module, acked)
    feed(module, inline, 300)
    module.receive(inline.close())
    assert module.acked == module.next_seq - 1
    check_whole(store, module, module.acked)
    assert verify(store).problems == ()


def test_a_store_on_a_disk_that_may_only_be_read_is_read_and_not_written(disk):
    folder, again = disk
    module, store = ModuleDouble(this_contract()), folder / "night.db"
    inline = Inline(store, UTC, commit_ms=5000)
    feed(module, inline, 60)
    inline.close()
    again("ro")
    with pytest.raises(UserError, match="can't be written"):
        Writer(store, UTC)
    with open_reader(store) as reader:
        (module_row,) = reader.modules()
        assert module_row.id == 0x1234
    assert verify(store).problems == ()
    again("rw")
    Writer(store, UTC).close()
    check_whole(store, module, module.acked)
