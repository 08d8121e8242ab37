"""The daemon as a real process on a real pty: killed, unplugged, refused, doubled, asked."""

import json
import os
import random
import signal
import socket
import stat
import time

import pytest

from firmware_sim.contract import commands
from ingest.control_client import Client, socket_path
from ingest.errors import UserError
from ingest.link.session import Contract
from ingest.store.reader import open_reader
from tests.support.store_check import check_whole, stored


def end(process):
    process.send_signal(signal.SIGTERM)
    out, err = process.communicate(timeout=15)
    return process.returncode, out, err


def test_records_and_stops_cleanly(pty_module, run_ingest, wait_for, tmp_path):
    module, store = pty_module(), tmp_path / "night.db"
    process = run_ingest("--link", module.path, "--store", store, "--site", "clinic", "--bed", "3")
    wait_for(lambda: module.module.acked > 60, what="an acknowledgement")
    status, _, err = end(process)
    assert status == 0, err
    assert not socket_path(store).exists()
    assert not store.with_name("night.db-wal").exists()
    check_whole(store, module.module, module.module.acked)
    with open_reader(store) as reader:
        (described,) = reader.modules()
        assert (described.site, described.bed, described.emulated) == ("clinic", "3", True)
        (session,) = reader.sessions(described.id)
        assert session.closed is not None and session.reason == "stopped"
        assert session.counters["records"] >= module.module.acked


def test_killed_at_random_moments_nothing_acknowledged_is_missing_nothing_twice(
        pty_module, run_ingest, wait_for, tmp_path):
    module, store, luck = pty_module(seconds_per_s=40.0), tmp_path / "night.db", random.Random(5)
    for _ in range(4):
        before = module.module.acked
        process = run_ingest("--link", module.path, "--store", store, "--commit-ms", "100")
        wait_for(lambda low=before: module.module.acked > low, what="progress after a kill")
        time.sleep(luck.uniform(0, 0.4))
        process.kill()
        process.wait()
        check_whole(store, module.module, module.module.acked)
    process = run_ingest("--link", module.path, "--store", store)
    module.streaming = False
    wait_for(lambda: module.module.acked == module.module.next_seq - 1, what="the rest")
    assert end(process)[0] == 0
    check_whole(store, module.module, module.module.next_seq - 1)


def test_unplugged_and_plugged_in_again_loses_nothing(pty_module, run_ingest, wait_for, tmp_path):
    module, store = pty_module(), tmp_path / "night.db"
    link = tmp_path / "port"
    link.symlink_to(module.path)
    process = run_ingest("--link", link, "--store", store)
    wait_for(lambda: module.module.acked > 20)
    module.unplug()
    for _ in range(60):
        module.module.second()
    module.replug()
    link.unlink()
    link.symlink_to(module.path)
    wait_for(lambda: module.module.acked > 300, what="the backlog")
    status, _, err = end(process)
    assert status == 0
    assert "gone" in err and "trying again" in err
    check_whole(store, module.module, module.module.acked)


def test_started_before_the_module_with_wait(pty_module, run_ingest, wait_for, tmp_path):
    link, store = tmp_path / "port", tmp_path / "night.db"
    process = run_ingest("--link", link, "--store", store, "--wait")
    wait_for(store.exists)
    module = pty_module()
    link.symlink_to(module.path)
    wait_for(lambda: module.module.acked > 20)
    assert end(process)[0] == 0


def test_a_module_that_starts_again_is_another_boot(pty_module, run_ingest, wait_for, tmp_path):
    module, store = pty_module(), tmp_path / "night.db"
    process = run_ingest("--link", module.path, "--store", store)
    wait_for(lambda: module.module.acked > 40)
    with module.lock:
        module.module.reboot(boot_id=77)
        module.module.hello()
    wait_for(lambda: module.module.boot_id == 77 and module.module.acked > 40)
    assert end(process)[0] == 0
    check_whole(store, module.module, module.module.acked, boot=2)
    with open_reader(store) as reader:
        assert [boot.boot_id for boot in reader.boots(0x1234)] == [1, 77]


def test_several_links_into_one_store(pty_module, run_ingest, wait_for, tmp_path):
    modules = [pty_module(module=number) for number in (1, 2, 3)]
    store = tmp_path / "night.db"
    arguments = [part for one in modules for part in ("--link", one.path)]
    process = run_ingest(*arguments, "--store", store)
    wait_for(lambda: all(one.module.acked > 40 for one in modules))
    assert end(process)[0] == 0
    with open_reader(store) as reader:
        keys = {boot.module: boot.id for one in reader.modules() for boot in reader.boots(one.id)}
    for one in modules:
        check_whole(store, one.module, one.module.acked, boot=keys[one.module.module])


def fails(process):
    out, err = process.communicate(timeout=20)
    assert process.returncode == 2, (out, err)
    lines = [line for line in err.splitlines() if line.startswith("nightkeel: ")]
    assert len(lines) == 1
    assert "Traceback" not in err
    return lines[0]


def test_a_second_daemon_on_one_store_is_refused_and_harms_nothing(
        pty_module, run_ingest, wait_for, tmp_path):
    module, other, store = pty_module(), pty_module(module=2), tmp_path / "night.db"
    first = run_ingest("--link", module.path, "--store", store)
    wait_for(lambda: module.module.acked > 10)
    said = fails(run_ingest("--link", other.path, "--store", store))
    assert f"pid {first.pid}" in said
    acked = module.module.acked
    wait_for(lambda: module.module.acked > acked)
    assert Client(store).running()
    assert end(first)[0] == 0


@pytest.mark.parametrize(("link", "words"), [
    ("/dev/ttyNOSUCH", "doesn't exist"),
    ("socket://127.0.0.1:9", "Nobody answers"),
    ("nonsense://x", "no port this program knows"),
    ("socket://127.0.0.1", "no host or port"),
    ("tcp://192.0.2.1:7000", "shared key"),
])
def test_a_wrong_port_is_one_sentence(run_ingest, tmp_path, link, words):
    assert words in fails(run_ingest("--link", link, "--store", tmp_path / "night.db"))


def test_a_file_is_no_port(run_ingest, tmp_path):
    (tmp_path / "file").write_text("x")
    said = fails(run_ingest("--link", tmp_path / "file", "--store", tmp_path / "night.db"))
    assert "not a serial port" in said or "can't be opened" in said


def test_a_module_of_another_revision_is_refused_by_name(pty_module, run_ingest, tmp_path):
    module = pty_module()
    module.module.contract = Contract(revision=200, digest_low=0, digest_high=0)
    said = fails(run_ingest("--link", module.path, "--store", tmp_path / "night.db"))
    assert "revision 200" in said and "update the host program" in said


def test_the_same_module_on_two_links_is_refused_and_the_first_goes_on(
        pty_module, run_ingest, wait_for, tmp_path):
    first, second, store = pty_module(), pty_module(), tmp_path / "night.db"
    process = run_ingest("--link", first.path, "--link", second.path, "--store", store)
    wait_for(lambda: max(first.module.acked, second.module.acked) > 40)
    links = Client(store).status()["links"]
    refused = [link["refusal"] for link in links if link["refusal"]]
    assert len(refused) == 1 and "already being recorded" in refused[0]
    assert min(first.module.acked, second.module.acked) == 0
    assert end(process)[0] == 0


def test_garbage_on_the_line_is_counted_not_fatal(pty_module, run_ingest, wait_for, tmp_path):
    module, store = pty_module(), tmp_path / "night.db"
    process = run_ingest("--link", module.path, "--store", store)
    # What lies in the port before it is opened is thrown away.
    wait_for(lambda: module.module.acked > 0)
    noise = random.Random(3)
    for _ in range(20):
        with module.lock:
            module.module.out += noise.randbytes(50) + b"\0"
        time.sleep(0.02)
    acked = module.module.acked
    wait_for(lambda: module.module.acked > acked + 100)
    counters = Client(store).status()["links"][0]["counters"]
    assert counters["crc"] + counters["stuffing"] + counters["short"] > 10
    assert end(process)[0] == 0
    check_whole(store, module.module, module.module.acked)


def test_a_command_is_booked_sent_and_answered(pty_module, run_ingest, wait_for, tmp_path):
    module, store = pty_module(), tmp_path / "night.db"
    process = run_ingest("--link", module.path, "--store", store)
    wait_for(lambda: module.module.acked > 10)
    client = Client(store)
    row = client.command(0x1234, commands.SELF_TEST, b"", operator="A.B.", reason="evening check")
    wait_for(lambda: client.answer(row) is not None, what="the module's answer")
    assert client.answer(row)["text"] == "done"
    second = client.command(0x1234, commands.ASK_SETTINGS, b"", operator="A.B.", reason="")
    wait_for(lambda: client.answer(second) is not None)
    assert [values[1] for values, _ in module.module.commands] == [1, 2]
    assert end(process)[0] == 0
    with open_reader(store) as reader:
        booked = reader.host_commands(0x1234)
    assert [(one.operator, one.reason, one.result) for one in booked] == [("A.B.", "evening check", 0),
                                                                          ("A.B.", "", 0)]


def test_the_control_socket_is_private_and_takes_any_bytes(pty_module, run_ingest, wait_for, tmp_path):
    module, store = pty_module(), tmp_path / "night.db"
    process = run_ingest("--link", module.path, "--store", store)
    wait_for(lambda: module.module.acked > 10)
    assert stat.S_IMODE(os.stat(socket_path(store)).st_mode) == 0o600
    noise = random.Random(4)
    bodies = [b"", b"\n", b"[]\n", b"{}\n", b'{"do": 5}\n', b'{"do": "command", "module": "x"}\n',
              b"[" * 60000 + b"\n", b'{"do": "answer", "id": 1e999}\n',
              b'{"do": "add_mark", "module": 1, "utc": 1, "kind": "\\ud800"}\n',
              b"x" * 70000, *(noise.randbytes(200) + b"\n" for _ in range(20))]
    for body in bodies:
        with socket.socket(socket.AF_UNIX) as connection:
            connection.settimeout(5)
            connection.connect(str(socket_path(store)))
            try:
                connection.sendall(body)
                connection.shutdown(socket.SHUT_WR)
                answer = connection.recv(65536)
            except ConnectionError:
                continue
            assert not answer or json.loads(answer)["ok"] is False
    with pytest.raises(UserError, match="not connected"):
        Client(store).command(9, commands.SELF_TEST, b"", operator="A", reason="")
    mark = Client(store).add_mark(module=0x1234, utc=int(time.time() * 1000), kind="suction", author="A.B.",
                                  text="x")
    assert Client(store).change_mark(mark, author="C.D.", text="y") == 2
    assert end(process)[0] == 0
    assert len(stored(store)) > 0
    with open_reader(store) as reader:
        assert [(one.text, one.author) for one in reader.mark_history(mark)] == [("x", "A.B."), ("y", "C.D.")]


def test_a_disk_that_takes_no_more_ends_with_one_sentence_and_all_acknowledged(
        pty_module, run_ingest, wait_for, tmp_path):
    """A limit of the file's size stands in for the full disk: the write fails in the middle of a commit."""
    module, store = pty_module(seconds_per_s=200.0), tmp_path / "night.db"
    said = fails(run_ingest("--link", module.path, "--store", store, file_bytes_max=600_000))
    assert "night.db" in said
    acked = module.module.acked
    assert acked > 0
    process = run_ingest("--link", module.path, "--store", store)
    wait_for(lambda: module.module.acked > acked, what="going on after the disk was mended")
    assert end(process)[0] == 0
    check_whole(store, module.module, module.module.acked)


def test_memory_and_open_files_stay_flat(pty_module, run_ingest, wait_for, tmp_path):
    """Minutes of module time in seconds: what is taken after the first third stays what it was."""
    module, store = pty_module(seconds_per_s=150.0), tmp_path / "night.db"
    process = run_ingest("--link", module.path, "--store", store)

    def taken():
        with open(f"/proc/{process.pid}/status", encoding="ascii") as status:
            kilobytes = next(int(line.split()[1]) for line in status if line.startswith("VmRSS"))
        return kilobytes, len(os.listdir(f"/proc/{process.pid}/fd"))

    wait_for(lambda: module.module.acked > 1500, what="the first records")
    before = taken()
    wait_for(lambda: module.module.acked > 5000, timeout_s=40, what="the later records")
    after = taken()
    assert after[1] == before[1]
    assert after[0] < before[0] * 1.2 + 4000
    assert end(process)[0] == 0
