"""The command `nightkeel board` as a real process: pseudo-terminal, port, both runtimes, bad input."""

import os
import re
import select
import signal
import socket
import subprocess
import sys
import time
import tty
from pathlib import Path

import pytest

import nightkeel
from firmware_sim.contract import digest
from firmware_sim.contract import messages as m
from tests.support.bed import Bed
from tests.support.host import Host

TOP = Path(__file__).resolve().parents[3]
PATIENCE_S = 90


@pytest.fixture(scope="module", autouse=True)
def compiled_before(runtime):
    """Fill the cache of compiled code, so that no test waits for the compiler."""
    Bed(runtime).play(1)


def start(*options):
    """Start the command; return process and the address it prints."""
    command = [sys.executable, str(TOP / "nightkeel.py"), "board", "--scenario", "quiet-night", *options]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=TOP)
    return process, process.stdout.readline().strip()


def refused(capfd, options):
    """Run the command, which must end with status 2 and one sentence; return the sentence."""
    with pytest.raises(SystemExit) as ended:
        nightkeel.main(["board", *options])
    said = capfd.readouterr().err
    assert ended.value.code == 2
    assert said.startswith("nightkeel: ") and said.count("\n") == 1
    return said


def stop(process):
    process.send_signal(signal.SIGTERM)
    assert process.wait(PATIENCE_S) == 0
    process.stdout.close()
    process.stderr.close()


def talk(fd, host, until):
    """Carry bytes between a descriptor and a host until it has seen enough."""
    end = time.monotonic() + PATIENCE_S
    while not until(host) and time.monotonic() < end:
        if select.select([fd], [], [], 0.2)[0]:
            host.feed(os.read(fd, 65536))
        os.write(fd, host.answer())
        time.sleep(0.02)
    assert until(host), "the board said too little"


def open_tty(path):
    fd = os.open(path, os.O_RDWR | os.O_NOCTTY)
    tty.setraw(fd)
    return fd


@pytest.mark.parametrize("interpreter", ["cpython", "micropython"])
def test_a_host_on_the_pseudo_terminal_gets_the_night_and_may_come_back(tmp_path, interpreter):
    link = tmp_path / "bed1"
    process, address = start("--pty-link", str(link), "--speed", "10", "--runtime", interpreter)
    try:
        assert os.readlink(link) == address
        host = Host(digest.digest())
        fd = open_tty(link)
        talk(fd, host, lambda host: len(host.of(m.TREND)) >= 20)
        os.close(fd)
        time.sleep(0.5)
        fd = open_tty(link)
        count = len(host.of(m.TREND))
        talk(fd, host, lambda host: len(host.of(m.TREND)) >= count + 40)
        os.close(fd)
        ticks = [tick for tick, *_ in host.of(m.TREND)]
        assert ticks == list(range(ticks[0], ticks[-1] + 1, 1000)), "nothing is missing across the gap"
        assert len(host.lives) == 1
    finally:
        stop(process)
    assert not link.is_symlink()


def test_a_port_on_the_loopback_carries_the_same(tmp_path):
    process, address = start("--link", "tcp://127.0.0.1:0", "--speed", "max", "--hours", "0.1")
    try:
        name, port = re.fullmatch(r"socket://([\d.]+):(\d+)", address).groups()
        host = Host(digest.digest())
        with socket.create_connection((name, int(port))) as line:
            talk(line.fileno(), host, lambda host: len(host.of(m.TREND)) >= 60)
    finally:
        stop(process)


def test_at_speed_one_ten_steps_take_a_second():
    process, address = start("--speed", "1")
    try:
        host = Host(digest.digest())
        fd = open_tty(address)
        talk(fd, host, lambda host: host.of(m.TREND))
        began, first = time.monotonic(), len(host.of(m.TREND))
        talk(fd, host, lambda host: len(host.of(m.TREND)) >= first + 4)
        took = time.monotonic() - began
        os.close(fd)
        assert 2.9 < took < 8
    finally:
        stop(process)


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (["--speed", "0"], "--speed 0: write a number from 0.01"),
        (["--speed", "fast"], "--speed fast: write a number"),
        (["--scenario", "no-night"], "Unknown scenario 'no-night'"),
        (["--link", "udp://127.0.0.1:7"], "--link udp://127.0.0.1:7 is not understood"),
        (["--link", "tcp://192.0.2.1:7000"], "is not understood; write pty or tcp://127.0.0.1:PORT"),
        (["--link", "tcp://127.0.0.1:99999"], "is not understood"),
        (["--pty-link", "/proc/version"], "exists and is no symbolic link"),
        (["--runtime", "pypy"], "There is no runtime 'pypy'"),
        (["--profile", "huge"], "There is no board profile 'huge'"),
        (["--hours", "-1"], "--hours -1: write a number above 0"),
        (["--from", "-5"], "--from -5: write seconds"),
        (["--key-file", "/nowhere/key"], "/nowhere/key: No such file"),
    ],
)
def test_bad_input_is_one_sentence_and_status_two(capfd, options, sentence):
    assert sentence in refused(capfd, options)


def test_a_busy_port_is_told(capfd):
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        said = refused(capfd, ["--link", f"tcp://127.0.0.1:{port}"])
    assert f"Port {port} on 127.0.0.1 can't be opened" in said
