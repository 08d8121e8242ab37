"""With the settings in force a rehearsal says what the module said: every field, row and tick."""

import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace

import pytest

from firmware_sim.contract import alarms
from firmware_sim.contract import settings as s
from firmware_sim.kernels import alarms as k
from ingest.analysis.rehearsal.compare import compare
from ingest.analysis.rehearsal.outcome import outcome_of, silent_spans
from ingest.analysis.rehearsal.overlay import overlay_of
from ingest.analysis.rehearsal.recording import Act
from ingest.analysis.rehearsal.replay import load_tape, replay
from ingest.analysis.rehearsal.stage import Stage
from ingest.errors import UserError
from ingest.rehearse import gather
from tests.support.engine_tapes import recording


def names(transitions):
    return [(one.tick, alarms.TRANSITIONS[one.transition]) for one in transitions]


def test_a_reset_in_the_middle_comes_out_again_exactly(reset_stage):
    assert len(reset_stage.material.recordings) == 2
    assert reset_stage.comparison.same >= 6
    assert reset_stage.comparison.exact


def test_presses_come_out_again_exactly(pause_stage):
    presses = [act for one in pause_stage.material.recordings for act in one.acts if act.settings is None]
    assert len(presses) >= 3
    kinds = {one.transition for tape in pause_stage.tapes for one in tape.recording.recorded}
    assert {k.AUDIO_PAUSED, k.PAUSE_ENDED, k.RAISED} <= kinds
    assert pause_stage.comparison.exact


def test_without_the_presses_the_difference_is_seen(pause_stage):
    tapes = [
        replace(tape, recording=replace(tape.recording, acts=[a for a in tape.recording.acts if a.settings]))
        for tape in pause_stage.tapes
    ]
    assert not compare([replay(tape, pause_stage.kernels) for tape in tapes]).exact


def test_a_wrong_limit_is_seen(reset_stage):
    overlay = overlay_of(["pressure.deadband=2.9"])
    found = compare([replay(tape, reset_stage.kernels, overlay) for tape in reset_stage.tapes])
    assert {one.row for one in found.only_replayed} == {alarms.ID_OF["disconnected"]}


def test_a_night_recorded_before_a_setting_was_added(reset_store, tmp_path):
    """An older module's last settings are missing in its store; they count with their defaults."""
    store = tmp_path / "older.db"
    shutil.copy(reset_store, store)
    with closing(sqlite3.connect(store)) as connection, connection:
        last = connection.execute("SELECT max(part) FROM settings").fetchone()[0]
        assert connection.execute(
            'UPDATE settings SET "values" = substr("values", 1, length("values") - 4) WHERE part = ?', (last,)
        ).rowcount
    stage = Stage(gather(store))
    assert stage.comparison.exact
    assert {len(one.settings) for one in stage.material.recordings} == {s.COUNT}
    assert stage.rehearse(overlay_of(["oxygen.delay=20"])).outcome.episodes


def test_plain_and_compiled_agree(pause_stage):
    from firmware_sim import kernels as plain

    tape = pause_stage.tapes[0]
    short = replace(tape.recording, stretches=tape.recording.stretches[20:23])
    assert replay(load_tape(short, plain), plain) == replay(load_tape(short, pause_stage.kernels),
                                                            pause_stage.kernels)  # fmt: skip


def test_settings_in_the_middle_take_effect_at_their_step(kernels):
    made = recording("oxygen", [7800] * 600)
    lower = list(made.settings)
    lower[s.ID_OF["oxygen.low"]] = 7500
    late = replace(made, settings=tuple(lower), acts=(Act(step=200, settings=made.settings),))
    tape = load_tape(late, kernels)
    # From step 200 on for the on-delay of 10 s: the step after 300, its tick is the step's end.
    assert names(replay(tape, kernels).transitions) == [(30_100, "raised")]


def test_an_acknowledgement_of_one_row(kernels):
    row = alarms.ID_OF["purity_low"]
    made = recording("oxygen", [7800] * 400, acts=[Act(step=200, row=row)])
    assert names(replay(load_tape(made, kernels), kernels).transitions) == [
        (10_100, "raised"), (20_100, "acknowledged"),
    ]  # fmt: skip


def test_over_a_hole_the_engine_finds_its_place(kernels):
    first = recording("oxygen", [7800] * 50)
    second = recording("oxygen", [7800] * 50, first_step=200)
    both = replace(first, stretches=first.stretches + second.stretches, end_step=250)
    assert both.holes_ms() == [(5_000, 20_000)]
    found = replay(load_tape(both, kernels), kernels)
    assert names(found.transitions) == [(20_100, "raised")]
    outcome = outcome_of([found], 0, 25_000)
    assert outcome.burden.watched_h == pytest.approx(10 / 3600)


def test_damaged_inputs_are_refused(kernels):
    made = recording("oxygen", [7800] * 50)
    stretch = replace(made.stretches[0], codes=made.stretches[0].codes[:-3])
    with pytest.raises(UserError, match="damaged"):
        load_tape(replace(made, stretches=(stretch,)), kernels)


def test_silence_counts_from_the_press_and_a_reminder_breaks_it(kernels):
    """A medium row acknowledged at 20 s reminds 120 s after it was last heard, for 3 s (settings, engine)."""
    made = recording("oxygen", [7800] * 3000, acts=[Act(step=200, row=255)])
    spans = silent_spans(replay(load_tape(made, kernels), kernels))
    assert spans[0][0] == 20_100
    assert spans[0][1] - spans[0][0] == pytest.approx(120_000, abs=200)
    assert spans[1][0] - spans[0][1] == pytest.approx(3_000, abs=200)


def test_twelve_hours_rehearse_in_two_seconds(reset_stage):
    """Twenty times the recorded 36 min; every minute of inputs stands alone, so they may be put in a row."""
    import time

    tapes = [tape for tape in reset_stage.tapes for _ in range(20)]
    began = time.perf_counter()
    runs = [replay(tape, reset_stage.kernels, overlay_of(["oxygen.delay=5"])) for tape in tapes]
    assert sum(one.end_tick for one in runs) >= 0.99 * 12 * 3_600_000
    assert time.perf_counter() - began < 2.0
