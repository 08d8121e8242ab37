"""The alarm table itself: complete, ordered, and every state of a row meets every event."""

import subprocess
import sysconfig
from pathlib import Path

import pytest

from firmware_sim.contract import alarms, commands, digest, engine, log_codes, settings
from firmware_sim.contract import values as v
from firmware_sim.kernels import alarms as k
from tests.support.alarm_bench import Bench

TOP = Path(__file__).resolve().parents[3]
MICROPYTHON = str(Path(sysconfig.get_path("scripts")) / "micropython")

# Conditions and the priorities that the practice of the trade gives them.
PRIORITIES = {
    "no_breath": 3, "no_effort": 3, "disconnected": 3, "pressure_high": 3, "pressure_sustained": 3,
    "below_ambient": 3, "output_lost": 3, "battery_very_short": 3, "purity_very_low": 3,
    "supply_dangerous": 3, "pressure_sensor_fault": 3,
    "purity_low": 2, "stored_energy": 2, "battery_short": 2,
    "end_expiratory_high": 2, "end_expiratory_low": 2, "rate_high": 2, "rate_low": 2, "bypass_restless": 2,
    "bypass": 1, "link_lost": 1, "battery_not_proven": 1, "oxygen_implausible": 1,
}


def test_priorities():
    assert {name: alarms.ROWS[alarms.ID_OF[name]].priority for name in PRIORITIES} == PRIORITIES


def test_technical_rows_are_medium_at_most():
    assert all(row.priority <= k.MEDIUM for row in alarms.ROWS if row.group == "technical")


def test_a_sensor_fault_hides_nothing_of_higher_priority_on_the_circuit():
    """Pressure sensor: at least the priority of what it hides, and in the modes of all rows it hides."""
    fault = alarms.ROWS[alarms.ID_OF["pressure_sensor_fault"]]
    circuit = (v.PRESSURE_MAX, v.PRESSURE_MIN, v.BREATH_AGE, v.PEAK)
    hidden = [row for row in alarms.ROWS if row.value in circuit]
    assert fault.priority == max(row.priority for row in hidden)
    idle = alarms.ROWS[alarms.ID_OF["pressure_sensor_idle"]]
    assert fault.modes | idle.modes == alarms.ALL_MODES


def test_every_input_of_the_table_exists_and_every_setting_it_names():
    for row in alarms.ROWS:
        assert 0 <= row.value < v.COUNT
        named = [x for x in (row.limit, row.deadband, row.on_delay, row.off_delay, row.escalate)
                 if isinstance(x, str)]
        assert all(name in settings.ID_OF for name in named), row.name
        assert row.note
        assert len(row.causes) <= k.R_CAUSES and all(cause < row.id for cause in row.causes)


def test_ids_fit_the_wire():
    assert alarms.COUNT < k.NO_ROW
    assert [row.id for row in alarms.ROWS] == list(range(alarms.COUNT))
    assert len({row.name for row in alarms.ROWS}) == alarms.COUNT


def test_names_of_codes_agree_with_the_kernel():
    for name in alarms.TRANSITIONS[1:]:
        wanted = "LATCHED_ON" if name == "latched" else name.upper()
        assert getattr(k, wanted) == alarms.TRANSITIONS.index(name)
    for name in alarms.PHASES:
        assert getattr(k, name.upper()) == alarms.PHASES.index(name)
    for name in alarms.KINDS:
        assert getattr(k, name.upper()) == alarms.KINDS.index(name)
    for name in ("OK", "NOTHING_TO_DO", "ALREADY_PAUSED", "BURST_FIRST", "NOT_FROM_PAGE", "NOT_THIS_ROW"):
        assert getattr(engine, name) == commands.RESULTS.index("done" if name == "OK" else name.lower())


def test_every_state_has_every_event():
    assert set(alarms.PHASE_EVENTS) == set(alarms.PHASES)
    for phase, events in alarms.PHASE_EVENTS.items():
        assert set(events) == set(alarms.EVENTS), phase


def brought_to(phase):
    """Bring a row with both delays and a latch into a phase."""
    row = alarms.ROWS[alarms.ID_OF["supply_dangerous"]]
    bench = Bench(row)
    if phase == "pending":
        bench.step(bench.edges.outside)
    elif phase != "idle":
        bench.raised().step(count=40)
        if phase != "active":
            bench.step(bench.edges.clear, 1 if phase == "leaving" else bench.edges.off + 1)
    assert alarms.PHASES[bench.engine.phase(row.id)] == phase
    return bench


def happens(bench, event):
    """Let one event happen to the row and one step pass."""
    edges = bench.edges
    if event == "true":
        bench.step(edges.outside)
    elif event == "false":
        bench.step(edges.clear)
    elif event == "missing":
        bench.step(-(1 << 30))
    elif event == "closed":
        bench.table[k.T_SIZE + bench.row.id * k.R_SIZE + k.R_MODES] = 0
        bench.engine.set_table(bench.table)
        bench.step()
    elif event == "delay over":
        bench.step(count=max(edges.on, edges.off) + 1)
    elif event == "acknowledge":
        bench.engine.acknowledge()
        bench.step()
    elif event == "pause":
        bench.engine.pause()
        bench.step()
    elif event == "time":
        bench.step(count=1)
    else:
        latched = bench.engine.latched()
        bench.engine = engine.Engine(bench.table)
        bench.engine.restore(latched)
    return alarms.PHASES[bench.engine.phase(bench.row.id)]


@pytest.mark.parametrize("event", alarms.EVENTS)
@pytest.mark.parametrize("phase", alarms.PHASES)
def test_the_shipped_engine_does_what_the_table_of_states_says(phase, event):
    bench = brought_to(phase)
    says = alarms.PHASE_EVENTS[phase][event]
    becomes = happens(bench, event)
    if event in ("false", "missing", "time") and phase in ("pending", "leaving") and says == "ignored":
        assert becomes == phase
    elif says == "ignored":
        assert becomes == phase or (event == "delay over" and phase == "leaving")
    elif says == "silent":
        assert bench.engine.sound() == 0 and becomes == phase
    elif says.startswith("escalates"):
        assert becomes == phase or phase == "leaving"
    elif says.startswith("its end") or (event == "reset" and phase in ("active", "leaving")):
        assert becomes == "latched"
    else:
        assert says.split(",")[0].split(" ")[0] == becomes


def test_one_digest_under_both_interpreters():
    code = "from firmware_sim.contract import digest as d; print(*d.digest(), d.settings_digest([1, -2]))"
    done = subprocess.run([MICROPYTHON, "-c", code], cwd=TOP, capture_output=True, text=True,
                          env={"MICROPYPATH": f"{TOP}:.frozen"}, check=True)
    assert done.stdout.split() == [str(n) for n in (*digest.digest(), digest.settings_digest([1, -2]))]


@pytest.mark.parametrize("name", [name for name, _ in digest.tables()])
def test_a_change_of_any_table_changes_the_digest(name, monkeypatch):
    before, tables = digest.digest(), digest.tables()
    changed = tuple((key, (*table, 1) if key == name else table) for key, table in tables)
    monkeypatch.setattr(digest, "tables", lambda: changed)
    assert digest.digest() != before
    monkeypatch.setattr(digest, "tables", lambda: tables)
    assert digest.digest() == before


def test_canonical_text_tells_unlike_things_apart():
    unlike = [(1, 2), ((1, 2),), (12,), ("1", "2"), ("12",), ("1,2",), (None,), (True,), (False,), ("T",), ()]
    assert len({digest.text(item) for item in unlike}) == len(unlike)


def test_log_codes_are_unique_and_alarm_entries_open_again():
    assert len({row[0] for row in log_codes.CODES}) == len({row[1] for row in log_codes.CODES})
    for parts in ((0, 1, 3, 0), (255, 8, 0, 63), (55, 11, 2, 255)):
        assert log_codes.alarm_parts(log_codes.alarm_first(*parts)) == parts
