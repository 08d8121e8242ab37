"""Many modules in one daemon: the file that lists them, ports that take nothing, file numbers without end."""

import os
import resource
import signal
import tty
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import UserError
from ingest.link.port import READ_MAX, Port, PortGone
from ingest.links_file import read_links


def test_the_file_of_links_gives_each_its_place_and_key(tmp_path):
    key, other = tmp_path / "ward.key", tmp_path / "bed4.key"
    for one in (key, other):
        one.write_text(one.name * 4)
        one.chmod(0o600)
    path = tmp_path / "links.toml"
    path.write_text(
        'site = "clinic"\nkey = "ward.key"\n[[link]]\nurl = "/dev/ttyACM0"\nbed = "3"\n'
        '[[link]]\nurl = "socket://192.0.2.7:7000"\nsite = "annexe"\nkey = "bed4.key"\n'
    )
    first, second = read_links(path)
    assert (first.url, first.site, first.bed, first.key) == ("/dev/ttyACM0", "clinic", "3", b"ward.key" * 4)
    assert (second.url, second.site, second.bed) == ("socket://192.0.2.7:7000", "annexe", "")
    assert second.key == b"bed4.key" * 4


@pytest.mark.parametrize(
    ("held", "said"),
    [
        ("", "names no link"),
        ("[[link]]\n", "link 1 has no url"),
        ('[[link]]\nurl = "/dev/x"\nbaud = 9600\n', "nobody knows 'baud'"),
        ('[[link]]\nurl = "/dev/x"\nbed = 3\n', "bed must be a short text"),
        ('link = "x"\n', "names no link"),
        ("link = [1]\n", r"write a table \[\[link\]\]"),
        ('port = 1\n[[link]]\nurl = "/dev/x"\n', "nobody knows 'port'"),
        ("[[link]\n", "is not TOML"),
        ('key = "none"\n[[link]]\nurl = "/dev/x"\n', "can't be read"),
    ],
)
def test_a_mistake_in_the_file_is_a_sentence(tmp_path, held, said):
    path = tmp_path / "links.toml"
    path.write_text(held)
    with pytest.raises(UserError, match=said):
        read_links(path)


@given(st.one_of(st.binary(max_size=60), st.from_regex(r"(\[?\[link\]\]?\n)?(url|bed|key|site) = .{0,20}\n")))
def test_no_file_of_links_ends_in_anything_but_a_sentence(tmp_path_factory, held):
    path = tmp_path_factory.getbasetemp() / "links.toml"
    path.write_bytes(held if isinstance(held, bytes) else held.encode("utf-8", "replace"))
    with suppress(UserError):
        assert read_links(path)


def test_links_from_a_file_are_recorded(pty_module, run_ingest, wait_for, tmp_path):
    modules = [pty_module(module=number) for number in (1, 2)]
    config = tmp_path / "links.toml"
    config.write_text("".join(f'[[link]]\nurl = "{one.path}"\nbed = "3"\n' for one in modules))
    process = run_ingest("--config", config, "--store", tmp_path / "night.db")
    wait_for(lambda: all(one.module.acked > 40 for one in modules), what="both links")
    process.send_signal(signal.SIGTERM)
    _, said = process.communicate(timeout=60)
    assert process.returncode == 0, said


def test_a_module_that_hears_nothing_stops_no_other_one():
    """A port whose other end reads nothing fills up; the serial library would try for ever."""
    master, slave = os.openpty()
    tty.setraw(slave)
    port = Port(os.ttyname(slave))
    try:
        for _ in range(8):
            port.write(bytes(READ_MAX // 4))
        assert port.is_behind
        assert len(port._rest) <= READ_MAX
        os.write(master, b"x")
        assert port.read() == b"x"
    finally:
        os.close(master)
        os.close(slave)
    with pytest.raises(PortGone):
        port.read()
    port.close()


def test_a_port_beyond_a_thousand_open_files_works():
    """The serial library waits by `select`, which ends at file number 1023 (documented)."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if hard < 1200:
        pytest.skip(f"this machine allows {hard} open files")
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, 1200), hard))
    held = []
    try:
        while not held or held[-1] < 1050:
            held.append(os.dup(0))
        master, slave = os.openpty()
        held += [master, slave]
        tty.setraw(slave)
        port = Port(os.ttyname(slave))
        assert port.fileno() > 1023
        os.write(master, b"hello")
        assert port.read() == b"hello"
        port.write(b"ack")
        assert os.read(master, 10) == b"ack"
        port.close()
    finally:
        for one in held:
            os.close(one)
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
