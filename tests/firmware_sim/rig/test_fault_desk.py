"""Faults played on a running bed: only the owner may, and the file repeats the very same night."""

import json
import os
import socket
import stat

import pytest

from firmware_sim.contract import alarms
from firmware_sim.contract import messages as m
from firmware_sim.contract.errors import UserError
from firmware_sim.rig.control import Control
from firmware_sim.rig.fault_desk import FAULTS, FaultDesk
from firmware_sim.rig.rig import Rig
from firmware_sim.scenarios import load
from firmware_sim.world.scenario import from_json, to_json
from tests.support.bed import Bed, scenario
from tests.support.host import Host


def ask(path, line):
    """Send one line, return what comes back once the other end has looked."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as client:
        client.settimeout(30)
        client.connect(str(path))
        client.sendall(line)
        yield
        yield json.loads(client.recv(65_536))


def answered(control, line):
    asking = ask(control.path, line)
    next(asking)
    # A long line comes in pieces.
    control.poll()
    control.poll()
    return next(asking)


def found(host, kinds):
    return [(kind, tick, payload) for kind, _, tick, payload in host.records if kind in kinds]


def test_the_file_repeats_the_night_with_the_same_events(tmp_path, runtime, event):
    lived = Bed(runtime, event(5, "person", "set_mode", mode="ventilator"), ahead_steps=10)
    desk = FaultDesk(lived.rig, tmp_path / "played.json")
    lived.play(63.0)
    assert desk.fault("circuit_apart")["t_s"] == 63.0
    lived.play(90)
    mains = desk.fault("mains_fails")
    lived.play(140)
    # The running night went on as it will be repeated: lead of the plant, persons, seed.
    again = load(mains["file"])
    repeated = Bed.__new__(Bed)
    repeated.rig = Rig(again, runtime=runtime)
    repeated.host, repeated.up = Host(lived.host.digest), bytearray()
    repeated.play(63 + 90 + 140)
    kinds = {m.ALARM, m.SUPPLY_EVENT, m.SUPPLY_STATE, m.BREATH}
    assert found(repeated.host, kinds) == found(lived.host, kinds)
    rows = {alarms.ROWS[payload[0]].name for kind, _, payload in found(lived.host, {m.ALARM})}
    assert "disconnected" in rows
    assert [one.kind for one in again.must_find] == ["alarm", "supply_event"]
    events = [m.decode(kind, payload)[0] for kind, _, payload in found(lived.host, {m.SUPPLY_EVENT})]
    # An interruption of tap 0 that is over.
    assert (0, 2, 1) in [values[1:4] for values in events]


def test_every_fault_can_be_played_and_written(tmp_path, runtime):
    rig = Rig(scenario(), runtime=runtime, ahead_steps=10)
    desk = FaultDesk(rig, tmp_path / "played.json")
    rig.run(30)
    for name in FAULTS:
        desk.fault(name)
        rig.run(20)
    written = from_json((tmp_path / "played.json").read_text())
    assert len(written.events) == len(FAULTS) == len(desk.status()["played"])
    assert to_json(written) == to_json(desk.scenario())
    assert not (tmp_path / "played.json.part").exists()


def test_only_its_owner_may_reach_it_and_nonsense_is_answered(tmp_path, runtime):
    rig = Rig(scenario(), runtime=runtime)
    control = Control(tmp_path / "bed.rig", FaultDesk(rig, tmp_path / "played.json").answer)
    assert stat.S_IMODE(os.stat(control.path).st_mode) == 0o600
    assert answered(control, b'{"do": "status"}\n')["module"] == rig.board.unique_id
    for line in (b"hello\n", b"[1]\n", b'{"do": "fire"}\n', b'{"do": "fault", "fault": "fire"}\n',
                 b'{"do": "fault", "fault": ["mains_fails"]}\n', b"x" * 5000 + b"\n"):  # fmt: skip
        told = answered(control, line)
        assert told["ok"] is False and told["error"].endswith(".")
    assert not (tmp_path / "played.json").exists()
    with pytest.raises(UserError, match="another board listens there"):
        Control(control.path, lambda _: {})
    control.close()
    assert not control.path.exists()


def test_what_is_no_socket_is_left_alone(tmp_path):
    path = tmp_path / "notes.txt"
    path.write_text("mine")
    with pytest.raises(UserError, match="no socket"):
        Control(path, lambda _: {})
    assert path.read_text() == "mine"
    with pytest.raises(UserError, match="letters"):
        Control(tmp_path / ("x" * 110), lambda _: {})
