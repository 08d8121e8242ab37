"""Flash tears at every byte and only there; the clock drifts, stops for nobody and may be lost."""

import pytest

from firmware_sim.board.clock import RealTimeClock
from firmware_sim.board.flash import PAGE, Flash, PowerCut


def test_writing_only_clears_bits():
    flash = Flash(2)
    flash.write(1, 10, b"\xf0\x0f")
    flash.write(1, 10, b"\x3c\xff")
    assert flash.read(1, 9, 4) == b"\xff\x30\x0f\xff"
    flash.erase(1)
    assert flash.read(1, 0, PAGE) == b"\xff" * PAGE
    assert list(flash.wear) == [0, 1]


@pytest.mark.parametrize("cut", range(9))
def test_a_cut_write_leaves_exactly_what_was_done(cut):
    flash = Flash(1)
    flash.cut_after(cut)
    if cut < 8:
        with pytest.raises(PowerCut):
            flash.write(0, 0, bytes(8))
    else:
        flash.write(0, 0, bytes(8))
    assert flash.read(0, 0, 9) == bytes(cut) + b"\xff" * (9 - cut)


def test_a_cut_erase_leaves_the_rest_of_the_page():
    flash = Flash(1, bytes(PAGE))
    flash.cut_after(100)
    with pytest.raises(PowerCut):
        flash.erase(0)
    assert flash.read(0, 98, 4) == b"\xff\xff\x00\x00"


def test_the_flash_refuses_what_it_does_not_have():
    flash = Flash(2)
    for page, offset, count in [(2, 0, 1), (0, 4090, 7), (-1, 0, 1)]:
        with pytest.raises(ValueError, match="no page"):
            flash.read(page, offset, count)


def test_the_clock_runs_fast_by_its_drift():
    # 20 ppm are 1.728 s a day: 86400 s x 20e-6 (worked out).
    clock = RealTimeClock(1_000_000, drift_ppm=20)
    assert clock.read(86_400_000) == 1_000_000 + 86_400_000 + 1728
    clock.write(86_400_000, 5_000)
    assert clock.read(86_400_000 + 50_000) == 5_000 + 50_001


def test_a_lost_clock_stands_in_2000_and_says_that_it_is_unset():
    clock = RealTimeClock(1_000_000)
    clock.lose(500)
    # 2000-01-01 00:00:00 UTC is Unix time 946684800 (worked out from the calendar).
    assert clock.read(1500) == 946_684_800_000 + 1000
    assert not clock.is_set
