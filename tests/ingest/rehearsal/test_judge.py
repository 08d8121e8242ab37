"""What other settings would have missed, delayed or saved; published figures where there are some."""

import random

import pytest

from firmware_sim.contract import settings as s
from ingest.analysis.rehearsal.judge import TrueEvent, judge
from ingest.analysis.rehearsal.outcome import outcome_of
from ingest.analysis.rehearsal.overlay import overlay_of, sweep_of
from ingest.analysis.rehearsal.replay import load_tape, replay
from ingest.errors import UserError
from ingest.rehearse import gather, sweep
from tests.support.engine_tapes import recording

CALM, LOW = 9300, 7800


def drawn_lengths(count, seed=11):
    """Draw lengths in s so that 14 s has half of them below and 19 s two thirds; the median is exact.

    The rest of the shape is ours: even below 14 s from 1 s, even from 14 to 19 s, even up to 120 s.
    """
    rnd = random.Random(seed)
    edges = ((0.50, 1.0, 13.9), (0.67, 14.1, 18.9), (1.0, 19.1, 120.0))
    out = []
    for place in range(count):
        share = (place + 0.5) / count
        low, high = next((a, b) for upto, a, b in edges if share < upto)
        out.append(rnd.uniform(low, high))
    rnd.shuffle(out)
    return out


def run(kernels, made, *texts):
    return outcome_of([replay(load_tape(made, kernels), kernels, overlay_of(texts))], 0, made.end_step * 100)


def test_nuisance_falls_as_published(kernels):
    """A delay of 14 s removes 50 %, of 19 s 67 % of such alarms: Görges, Markewitz, Westenskow, Anesth Analg
    2009;108:1546 (published; ignored and ineffective alarms). A consistency check: the lengths are drawn to
    these very quantiles, so what is tested is the way through the engine."""
    course = [CALM] * 100
    for length in drawn_lengths(100):
        course += [LOW] * round(length * 10) + [CALM] * 30
    made = recording("oxygen", course)
    counts = [
        run(kernels, made, f"oxygen.delay={delay}", "oxygen.off_delay=0").burden.activations
        for delay in (0, 14, 19)
    ]
    assert counts[0] == 100
    assert 1 - counts[1] / counts[0] == pytest.approx(0.50, abs=0.01)
    assert 1 - counts[2] / counts[0] == pytest.approx(0.67, abs=0.01)


def test_missed_stands_first_then_late_then_the_rest(kernels):
    """Events of 12, 25 and 60 s below the limit; the delay in force is 10 s."""
    course = [CALM] * 300
    events = []
    for seconds in (60, 25, 12):
        start = len(course) * 100
        course += [LOW] * seconds * 10 + [CALM] * 600
        events.append(TrueEvent(start_ms=start, end_ms=start + seconds * 1000, condition="purity_low"))
    made = recording("oxygen", course)
    judged = judge(events, run(kernels, made).episodes, run(kernels, made, "oxygen.delay=20").episodes)
    assert [one.missed for one in judged.verdicts] == [True, False, False]
    assert [one.late for one in judged.verdicts] == [False, True, True]
    assert judged.verdicts[0].event is events[2]
    assert judged.verdicts[1].rehearsed_s - judged.verdicts[1].in_force_s == pytest.approx(10.0)
    assert judged.added_s == pytest.approx((10.0, 10.0))
    assert (judged.nuisance_in_force, judged.nuisance) == (0, 0)
    same = judge(events, run(kernels, made).episodes, run(kernels, made).episodes)
    assert not any(one.missed or one.late for one in same.verdicts)


def test_alarms_of_no_event_are_nuisance_and_other_rows_prove_nothing(kernels):
    made = recording("oxygen", [CALM] * 100 + [LOW] * 300 + [CALM] * 300)
    found = run(kernels, made).episodes
    judged = judge([TrueEvent(start_ms=10_000, end_ms=40_000, condition="disconnected")], found, found)
    assert judged.verdicts[0].missed
    assert judged.nuisance == 1


def test_chatter_and_floods(kernels):
    """Chatter: 3 or more of one alarm in 1 min; flood: over 10 in 10 min (ISA-18.2, EEMUA 191, quoted)."""
    made = recording("oxygen", [CALM] * 50 + ([LOW] * 40 + [CALM] * 110) * 11)
    burden = run(kernels, made, "oxygen.delay=0", "oxygen.off_delay=0").burden
    assert (burden.activations, len(burden.chatter), len(burden.floods)) == (11, 1, 1)
    calm = run(kernels, made, "oxygen.delay=5").burden
    assert calm.activations == 0


def test_an_unknown_condition_is_refused():
    with pytest.raises(UserError, match="purity_low"):
        TrueEvent(start_ms=0, end_ms=1, condition="purity_lo")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("pressure.disconnect_delay=25", "20 s, not even in a rehearsal"),
        ("pressure.hihg=30", "did you mean pressure.high"),
        ("oxygen.low=800", "must lie between"),
        ("oxygen.low=82 mbar", "is set in %, not in 'mbar'"),
        ("oxygen.low=many", "needs a number in %"),
        ("oxygen.low", "write NAME=VALUE"),
        ("supply.nominal_voltage=120", "acts on the measurement"),
        ("oxygen.low=65", "purity very low must lie below purity low"),
        ("oxygen.low=82.123", "in steps of 0.01 %"),
    ],
)
def test_what_can_not_be_rehearsed_is_said(text, said):
    with pytest.raises(UserError, match=said):
        overlay_of([text])(s.defaults())


@pytest.mark.parametrize(
    "text", ["oxygen.delay=0:60", "oxygen.delay=60:0:5", "oxygen.delay=0:60:1", "module.mode=0:1:2"]
)
def test_a_sweep_that_is_none_is_said(text):
    with pytest.raises(UserError, match="sweep"):
        sweep_of(text, overlay_of([]))


def test_a_sweep_runs_in_processes_and_in_order(pause_store):
    material = gather(pause_store)
    overlays = sweep_of("pressure.disconnect_delay=10:20:5", overlay_of([]))
    counted = []
    found = sweep(material, overlays, 2, lambda: counted.append(1))
    assert len(counted) == 5
    added = [one.judged.added_s[1] for one in found]
    assert added == sorted(added)
    assert added[0] == 0
    # The last value is the hard maximum of the row, 10 s above the setting in force.
    assert added[-1] == pytest.approx(10.0, abs=0.2)
