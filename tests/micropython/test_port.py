"""The bundle for a real board, run by the real interpreter, its `machine` stood in for, over a real pty."""

import os
import shutil
import subprocess
import sys
import time

import pytest
from click.testing import CliRunner

from firmware_sim import bundle
from firmware_sim.cli.bundle import bundle as command
from firmware_sim.contract import alarms, digest, log_codes
from firmware_sim.contract import messages as m
from firmware_sim.rig.rig import Rig
from firmware_sim.rig.runtimes import InProcess, find_interpreter
from ingest.store.reader import open_reader
from tests.micropython.standin.runtime import HERE as STANDIN
from tests.micropython.standin.runtime import PortRuntime
from tests.support.bed import scenario
from tests.support.host import Host

SECONDS = 60
MEASURED = {m.TREND, m.PRESSURE_WAVE, m.SUPPLY_CYCLES, m.BREATH, m.SUPPLY_EVENT, m.ALARM}
HEAP = "1M"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Write a bundle; return its folder and what the command printed."""
    folder = tmp_path_factory.mktemp("bundle") / "board"
    done = CliRunner().invoke(command, [str(folder)])
    assert done.exit_code == 0, done.output
    return folder, done.output


def play(runtime, seconds):
    """Play the bench bed on the port; return its host."""
    rig = Rig(scenario(), runtime=runtime, profile="small")
    host = Host(digest.digest())
    for _ in range(seconds):
        rig.run(10)
        host.feed(runtime.receive())
        runtime.send(host.answer())
    rig.stop()
    return host


@pytest.fixture(scope="module")
def minute(made, tmp_path_factory):
    runtime = PortRuntime(made[0] / "plain", tmp_path_factory.mktemp("place"), HEAP)
    host = play(runtime, SECONDS)
    yield host, runtime
    runtime.close()


def test_the_hello_says_the_digest_that_was_printed(made, minute):
    low, high = minute[0].hello[1:3]
    assert f"{high:08x}{low:08x}" in made[1]
    assert minute[0].hello[6] == 1, "a stand-in is emulated and says so"


def test_what_is_measured_is_what_the_emulator_measures(minute):
    rig = Rig(scenario(), runtime=InProcess(), profile="small")
    other = Host(digest.digest())
    for _ in range(SECONDS):
        other.feed(rig.run(10))
        rig.send(other.answer())
    host = minute[0]
    assert host.bad == 0
    for kind in sorted(MEASURED):
        mine = [record[2:] for record in host.records if record[0] == kind]
        theirs = [record[2:] for record in other.records if record[0] == kind]
        assert mine == theirs[:len(mine)] and len(mine) >= len(theirs) - 2, kind
    assert sum(record[0] == m.PRESSURE_WAVE for record in host.records) >= SECONDS - 1


def test_lamps_are_tested_at_power_up(minute):
    """All four lamps on, and off again; the sounder's pulse is never wider than 1/8 of its period."""
    log = minute[1].log
    for pin in (11, 12, 13, 14):
        assert [value for *_, which, value in log if which == pin][:2] == [1, 0]
    duties = [value for *_, which, value in log if which == 15]
    assert 0 < max(duties) <= 65535 // 8
    assert duties[-1] == 0 or len(duties) > 9


def self_tests(host):
    """Return (passed, bits of the parts that failed) of each self-test in the log."""
    return [values[1:3] for _, values, _ in host.of(m.LOG) if values[0] == log_codes.SELF_TEST]


def test_the_files_of_the_bundle_read_back_at_power_up(minute):
    assert self_tests(minute[0]) == [(1, 0)]


def test_a_file_that_changed_on_the_board_fails_the_self_test(made, tmp_path):
    """One comment more, and the program still runs: the sum that the bundle wrote tells."""
    folder = shutil.copytree(made[0] / "plain", tmp_path / "worn")
    with (folder / "firmware_sim" / "core" / "ring.py").open("a") as file:
        file.write("# worn\n")
    runtime = PortRuntime(folder, tmp_path, HEAP)
    try:
        host = play(runtime, 7)
    finally:
        runtime.close()
    assert self_tests(host) == [(0, log_codes.TEST_PROGRAM)]
    raised = [values[:2] for _, values, _ in host.of(m.ALARM)]
    assert (alarms.ID_OF["self_test_failed"], alarms.TRANSITIONS.index("raised")) in raised


def test_memory_is_bounded(minute):
    """The whole minute ran in this heap (twice a board's word size), and what is used comes back."""
    free = [values[m.field_names(m.HEALTH).index("memory_free")] for _, values, _ in minute[0].of(m.HEALTH)]
    assert len(free) >= 5
    # Before a collection little may be free; what counts is that collections go on freeing it.
    assert max(free[-3:]) > 16 * 1024


def test_compiled_files_run_as_well(made, tmp_path):
    runtime = PortRuntime(made[0] / "mpy", tmp_path, HEAP)
    try:
        host = play(runtime, 5)
    finally:
        runtime.close()
    assert host.hello[1:3] == digest.digest()
    assert host.bad == 0 and len(host.records) > 10


def test_the_watchdog_waits_for_the_first_step(made, tmp_path):
    """Building the firmware takes seconds on a board, longer than the watchdog waits."""
    code = ("import machine\nseen = []\n"
            "class Dog:\n    def __init__(self, timeout): seen.append(timeout)\n"
            "    def feed(self): seen.append('fed')\n"
            "machine.WDT = Dog\n"
            "from firmware_sim.ports.micropython.hal import Hal\n"
            "from firmware_sim.ports.micropython.sampler import Sampler\n"
            "hal = Hal(Sampler())\nbefore = len(seen)\nhal.watchdog()\nhal.watchdog()\nprint(before, *seen)")
    runtime = PortRuntime(made[0] / "plain", tmp_path, HEAP)
    (tmp_path / "look.py").write_text(code)
    done = subprocess.run(
        [find_interpreter(), "-X", f"heapsize={HEAP}", "look.py"],
        cwd=tmp_path, capture_output=True, text=True, pass_fds=[runtime.master],
        env={"MICROPYPATH": f"{made[0] / 'plain'}:{STANDIN}", "STANDIN_PTY": str(runtime.master)},
        check=False)
    runtime.close()
    assert done.stdout.split() == ["0", "2000", "fed", "fed"], done.stdout + done.stderr


def test_every_file_of_the_bundle_is_needed(made, tmp_path):
    """The modules that the interpreter has loaded are the files written, no more and no fewer."""
    names = {name[:-3].replace("/", ".").removesuffix(".__init__")
             for name in bundle.sources() if name not in bundle.STARTER}
    code = ("import machine, sys\nmachine.Timer.init = lambda *a, **k: sys.exit(0)\n"
            "try:\n    exec(open(sys.argv[1]).read())\nexcept SystemExit:\n    pass\n"
            "print('MODULES', *sys.modules)")
    runtime = PortRuntime(made[0] / "plain", tmp_path, HEAP)
    (tmp_path / "look.py").write_text(code)
    done = subprocess.run(
        [find_interpreter(), "-X", f"heapsize={HEAP}", "look.py", str(made[0] / "plain" / "main.py")],
        cwd=tmp_path, capture_output=True, text=True, pass_fds=[runtime.master],
        env={"MICROPYPATH": f"{made[0] / 'plain'}:{STANDIN}", "STANDIN_PTY": str(runtime.master)},
        check=False)
    runtime.close()
    assert "MODULES" in done.stdout, done.stdout + done.stderr
    loaded = {name for name in done.stdout.split("MODULES")[1].split() if name.startswith("firmware_sim")}
    assert loaded == names


def test_the_ingest_daemon_records_from_it(made, tmp_path):
    """The daemon as a process of its own on the pty, as with any module."""
    runtime, store = PortRuntime(made[0] / "plain", tmp_path, HEAP), tmp_path / "bed.db"
    command = [sys.executable, "-m", "nightkeel", "ingest", "--link", os.ttyname(runtime.slave),
               "--store", str(store), "--site", "bench", "--bed", "1"]
    daemon = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    rig = Rig(scenario(), runtime=runtime, profile="small")
    counters = {}
    try:
        for _ in range(200):
            rig.run(1)
            time.sleep(0.02)
        daemon.terminate()
        _, err = daemon.communicate(timeout=20)
        assert daemon.returncode == 0, err
        with open_reader(store) as reader:
            (module,) = reader.modules()
            (session,) = reader.sessions(module.id)
            counters = session.counters
            assert module.emulated
    finally:
        daemon.kill()
        rig.stop()
        runtime.close()
    assert counters["records"] > 60, counters


def test_a_folder_in_use_is_left_alone(tmp_path):
    (tmp_path / "x").write_text("")
    done = CliRunner().invoke(command, [str(tmp_path)])
    assert "not empty" in str(done.exception)
    assert [path.name for path in tmp_path.iterdir()] == ["x"]
