"""Time and memory of a real board: the estimate's arithmetic, and what was counted, counted again."""

import json
import os
import shutil
from pathlib import Path

import pytest

from firmware_sim.hardware import fit
from tests.support import instruction_counts as counting
from tests.support import memory_counts as memory

# A part may move by this when another module changes the interpreter's look-up cache.
COUNT_TOLERANCE = 0.25
MEMORY_TOLERANCE = 0.15
LIBRARY = os.environ.get("MICROPYTHON_WASM", "")


def test_one_instruction_here_is_about_two_cycles_there():
    """168 MHz × 95.26 ms / 8.0677 million, and 168 MHz / 1847.56 / 41,061, by hand: 1.984 and 2.215."""
    assert list(fit.CYCLES_M4) == pytest.approx([1.984, 2.215], abs=0.001)


def test_classes_follow_from_the_published_comparison():
    """By hand: 19.8 s × 125 MHz against 13.0 s × 168 MHz is 1.133; 8.9 s × 240 MHz is 0.978."""
    small, large = fit.CHIPS
    assert small.cycles[0] / fit.CYCLES_M4[0] == pytest.approx(1.133, abs=0.001)
    assert large.cycles[0] / fit.CYCLES_M4[0] == pytest.approx(0.978, abs=0.001)
    assert fit.share(240e6 / large.cycles[0], large)[0] == pytest.approx(1.0)


@pytest.mark.parametrize(("shares", "said"), [
    ((0.4, 0.69), "fits"), ((0.6, 0.9), "doubtful"), ((0.9, 1.4), "doubtful"), ((1.01, 1.5), "does not fit"),
])  # fmt: skip
def test_a_load_is_judged(shares, said):
    assert fit.verdict(shares).startswith(said)


def test_every_way_is_lighter_than_as_it_is():
    (_, plain), *others = fit.ways()
    assert all(0 < left < plain for _, left in others)
    assert fit.total(fit.parts("bytecode")) == plain


def test_the_parts_are_the_whole():
    for emitter in counting.EMITTERS:
        found = fit.parts(emitter)
        assert found["rest"] > 0, "the alarms alone must not cost more than all that isn't measuring"
        # Counted alone a part finds fewer names in the interpreter's look-up cache, so they add up to more.
        assert 1 < sum(found[name] for name in ("taps", "breathing", "beside")) / found["whole"] < 1.3
        assert found["one_tap"] < found["taps"] < found["whole"]
        assert found["whole"] / 10 < found["second_step"] < found["whole"]


@pytest.mark.soak
@pytest.mark.skipif(shutil.which("valgrind") is None, reason="valgrind is not installed")
def test_instructions_are_still_those_of_the_table():
    wanted = [(emitter, part) for emitter in counting.EMITTERS for part in counting.PARTS]
    kept = json.loads(counting.FOUND.read_text())["instructions_a_second"]
    for emitter, parts in counting.count(wanted).items():
        for part, instructions in parts.items():
            assert instructions == pytest.approx(kept[emitter][part], rel=COUNT_TOLERANCE), (emitter, part)


@pytest.fixture(scope="module")
def held(tmp_path_factory):
    """What the 64-bit interpreter holds, measured now."""
    folder = tmp_path_factory.mktemp("memory")
    counting.build(folder / "tree", "bytecode")
    counting.record(folder / "steps", memory.STEPS)
    return memory.held_64(folder / "tree", folder / "steps", folder)


def test_memory_is_still_that_of_the_table(held):
    kept = json.loads(counting.FOUND.read_text())["memory"]["word_64"]
    assert held == pytest.approx(kept, rel=MEMORY_TOLERANCE)


@pytest.mark.skipif(
    not (shutil.which("node") and Path(LIBRARY).is_file()), reason="needs node and MICROPYTHON_WASM"
)
def test_memory_of_a_board_s_word_size_is_still_that_of_the_table(tmp_path):
    """See the head of tests/micropython/test_small_integers.py for what MICROPYTHON_WASM names."""
    counting.build(tmp_path / "tree", "bytecode")
    counting.record(tmp_path / "steps", memory.STEPS)
    kept = json.loads(counting.FOUND.read_text())["memory"]["word_32"]
    assert memory.held_32(tmp_path / "tree", tmp_path / "steps", LIBRARY) == pytest.approx(
        kept, rel=MEMORY_TOLERANCE
    )


def test_a_minute_of_running_holds_no_more_than_ten_seconds(held):
    """Everything that a step allocates is given back: 500 steps leave nothing that grows."""
    assert held["minute"] - held["ten_seconds"] < 2048


def test_the_ring_is_what_the_port_asks_for():
    kept = json.loads(counting.FOUND.read_text())["memory"]
    assert kept["ring_bytes"] == memory.pins.RING_BYTES
    # A ring is bytes: the state of a 32-bit board holds all of it.
    assert kept["word_32"]["app"] - kept["word_32"]["port"] > kept["ring_bytes"]
