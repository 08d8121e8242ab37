"""The value change dump, read back by an independent reader (PyPI vcdvcd)."""

import binascii
import io
import signal

import pytest
from cobs import cobs
from vcdvcd import VCDVCD

from firmware_sim.contract import messages as m
from firmware_sim.rig.vcd_trace import VcdTrace
from firmware_sim.scenarios._parts import at
from tests.support.bed import Bed

# Importing that reader lets a closed pipe end the process, and with it whatever test comes next.
signal.signal(signal.SIGPIPE, signal.SIG_IGN)


@pytest.fixture(scope="module")
def night(runtime):
    """Play 40 s with a button, a dark spell of 5 s, and lamps; return (dump, bed, edges, pressure codes)."""
    edges, pressures = [], {}
    bed = Bed(runtime, at(20, "person", "acknowledge"),
              at(25, "board", "power_cut", duration_s=5.0),
              trace=lambda step, new: edges.extend((step, *one) for one in new))
    text = io.StringIO()
    trace = VcdTrace(text, bed.rig)

    def watch(step):
        trace(step)
        pressures[step] = bed.rig.board.block.pressure[-1] if bed.rig.board.alive else None

    bed.rig.watch = watch
    bed.play(40)
    trace.close()
    assert "SIMULATED" in text.getvalue()
    return VCDVCD(vcd_string=text.getvalue()), bed, edges, pressures


def is_whole(body):
    """Tell whether a frame's check sum is right, by the standard library."""
    return binascii.crc_hqx(body[:-2], 0xFFFF) == int.from_bytes(body[-2:], "little")


def value(dump, name, ms):
    """Return a signal's bits at a time, as the reader has them."""
    found = [signal for signal in dump.signals if signal.split("[")[0] == name]
    assert found, dump.signals
    return dump[found[0]][ms]


def test_each_lamp_and_sound_edge_stands_at_its_millisecond(night):
    dump, _, edges, _ = night
    assert len([edge for edge in edges if edge[1] == 0]) >= 8
    last = {}
    for step, kind, first, second, at_ms in edges:
        last[(step + 1) * 100 + at_ms, (kind, first if kind == 0 else None)] = (first, second)
    names = ("lamp_high", "lamp_medium", "lamp_low", "lamp_paused")
    for (time_ms, (kind, index)), (_, second) in last.items():
        if 24_900 < time_ms < 30_200:
            continue
        name = f"pins.{names[index]}" if kind == 0 else "pins.sound_level"
        assert int(value(dump, name, time_ms), 2) == second, (time_ms, name)


def test_codes_are_those_of_the_converter_and_unknown_in_the_dark(night):
    dump, _, _, pressures = night
    for step, code in pressures.items():
        told = value(dump, "adc.pressure", step * 100)
        assert told == "x" if code is None else int(told, 2) == code, step
    assert value(dump, "board.alive", 24_000) == "1"
    assert value(dump, "board.alive", 27_000) == "0"
    assert value(dump, "pins.lamp_high", 27_000) == "x"


def test_the_button_is_down_while_it_is_held(night):
    dump = night[0]
    changes = dump["pins.acknowledge"].tv
    down = [time for time, bit in changes if bit == "1"]
    assert len(down) == 1 and abs(down[0] - 20_000) <= 100
    assert [bit for time, bit in changes if time == down[0] + 300] == ["0"]


def test_frames_are_counted_and_named(night):
    dump, bed, _, _ = night
    bodies = [cobs.decode(block) for block in bytes(bed.up).split(b"\0")[:-1] if block]
    good = [body for body in bodies if is_whole(body)]
    assert int(value(dump, "link.frames", dump.endtime), 2) == len(good) > 100
    types = {int(bits, 2) for name in dump.signals if name.startswith("link.frame_type")
             for _, bits in dump[name].tv if bits != "x"}
    assert {m.LOG, m.SUPPLY_CYCLES} <= types <= {body[0] for body in good}


def test_the_engine_is_followed(night):
    dump = night[0]
    indicated = next(name for name in dump.signals if name.startswith("engine.indicated"))
    assert {bits for _, bits in dump[indicated].tv} > {"0"}
