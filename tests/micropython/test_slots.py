"""A new program on a board: on trial, confirmed after a good start, else rolled back."""

import shutil

import pytest

from firmware_sim import bundle
from firmware_sim.ports.micropython import boot_slots
from firmware_sim.rig.rig import Rig
from tests.micropython.standin.runtime import PortRuntime
from tests.support.bed import scenario
from tests.support.host import Host

HEAP = "1M"
RESET_STATUS = 42  # of the stand-in's machine.reset
# The minute of the trial, cut short for the test: a second after the self-test's end.
GOOD = ("60_000 // STEP_MS", "6_000 // STEP_MS")
SECONDS = 8


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bundles")
    bundle.write(folder / "whole", compiled=False)
    bundle.write(folder / "update", "b", compiled=False)
    return folder


class Board:
    """A board's root folder: the whole bundle, an update copied over it, both as text."""

    def __init__(self, made, root):
        shutil.copytree(made / "whole" / "plain", root)
        self.root = root

    def update(self, made, change=lambda start: start, *, sums=True):
        """Copy the update; `change` makes its start.py another one, with the bundle's sums or not."""
        shutil.copytree(made / "update" / "plain", self.root, dirs_exist_ok=True)
        start = self.root / "slots/b/firmware_sim/ports/micropython/start.py"
        text = start.read_text().replace(*GOOD)
        start.write_text(change(f'open("ran-b", "w").close()\n{text}'))
        if sums:
            bundle.write_sums(self.root / "slots/b")

    def state(self):
        """Return what the files of the slots say: now, trial, rejected."""
        slots = self.root / "slots"
        return tuple(
            (slots / name).read_text() if (slots / name).exists() else None
            for name in ("now", "trial", "rejected")
        )

    def play(self, seconds=SECONDS):
        """Power up, play, cut the power; return (was it heard, did the program of slot b run)."""
        ran = self.root / "ran-b"
        ran.unlink(missing_ok=True)
        # The interpreter's folder is the board's root, as on a board.
        runtime = PortRuntime(self.root, self.root, HEAP)
        rig, host = Rig(scenario(), runtime=runtime, profile="small"), Host((0, 0))
        try:
            for _ in range(seconds):
                rig.run(10)
                host.feed(runtime.receive())
                runtime.send(host.answer())
        finally:
            rig.stop()
            runtime.close()
        return host.hello is not None, ran.exists()


@pytest.fixture
def board(made, tmp_path):
    return Board(made, tmp_path / "board")


def test_a_good_program_confirms_itself_and_stays(made, board):
    board.update(made)
    assert board.state() == (None, "b 0", None)
    assert board.play() == (True, True)
    assert board.state() == ("b", None, None)
    assert board.play(2) == (True, True)


def test_power_cut_before_the_minute_rolls_back(made, board):
    board.update(made)
    assert board.play(3) == (True, True)
    assert board.state() == (None, "b 1", None)
    assert board.play(2) == (True, False)
    assert board.state() == (None, None, "b")


def test_a_program_whose_self_test_fails_is_not_kept(made, board):
    """Its files differ from the bundle's sums, as after a copy cut short."""
    board.update(made, sums=False)
    assert board.play() == (True, True)
    assert board.state() == (None, "b 1", None)
    assert board.play(2) == (True, False)


def test_a_program_that_ends_with_an_error_resets_the_board(made, board):
    board.update(made, lambda start: f"raise ValueError(1)\n{start}")
    runtime = PortRuntime(board.root, board.root, HEAP)
    runtime.start(None, None)
    assert runtime.child.wait(timeout=60) == RESET_STATUS
    runtime.close()
    assert board.play(2) == (True, False)
    assert board.state() == (None, None, "b")


STATES = [
    # now, trial, rejected before; then folder, on trial; then now, trial, rejected.
    ((None, None, None), ("", False), (None, None, None)),
    ((None, "b 0", None), ("slots/b", True), (None, "b 1", None)),
    ((None, "b 1", None), ("", False), (None, None, "b")),
    (("b", None, None), ("slots/b", False), ("b", None, None)),
    (("b", "a 0", None), ("slots/a", True), ("b", "a 1", None)),
    (("b", "a 1", None), ("slots/b", False), ("b", None, "a")),
    # Power failed between confirmation and the end of the trial: it stays confirmed.
    (("b", "b 1", None), ("slots/b", False), ("b", None, None)),
    # A copy of which only the word 'trial' arrived; a file torn to nothing; a program that is gone.
    ((None, "c 0", None), ("", False), (None, None, "c")),
    ((None, "", None), ("", False), (None, "", None)),
    (("c", None, None), ("", False), ("c", None, None)),
]


@pytest.mark.parametrize(("before", "chosen", "after"), STATES)
def test_every_state_of_the_files_starts_something(tmp_path, monkeypatch, before, chosen, after):
    monkeypatch.chdir(tmp_path)
    for name in ("a", "b"):
        (tmp_path / "slots" / name / "firmware_sim").mkdir(parents=True)
    for name, text in zip(("now", "trial", "rejected"), before, strict=True):
        if text is not None:
            (tmp_path / "slots" / name).write_text(text)
    assert boot_slots.choose() == chosen
    found = [tmp_path / "slots" / name for name in ("now", "trial", "rejected")]
    assert tuple(path.read_text() if path.exists() else None for path in found) == after
