"""Every row is proven on the emulated board, and a planted fault in the table is found."""

import json

import pytest
from click.testing import CliRunner

import nightkeel
from firmware_sim.contract import alarms, engine
from firmware_sim.contract import settings as s
from firmware_sim.contract.errors import UserError
from firmware_sim.core import alarm_system
from firmware_sim.kernels import alarms as k
from firmware_sim.rig.drill import certificate
from firmware_sim.rig.drill.bench import Bench
from firmware_sim.rig.drill.run import drill


@pytest.fixture(scope="module")
def whole(runtime):
    return drill(None, runtime=runtime)


def test_every_row_passes(whole):
    """About 25 s of one idle core: the certificate of the whole table."""
    failed = {row.name: [check for check in row.checks if not check.held] for row in whole.rows}
    assert {name: checks for name, checks in failed.items() if checks} == {}
    assert {row.name for row in whole.rows} == set(alarms.ID_OF)
    assert whole.failed == 0
    assert whole.passed == alarms.COUNT


def test_what_is_tried(whole):
    """Every row that can be: inside, outside, delay, signal; the rest where the row has it."""
    by_name = {row.name: {check.name for check in row.checks} for row in whole.rows}
    for row in alarms.ROWS:
        assert {"just inside", "just outside", "delay", "priority", "lamp"} <= by_name[row.name], row.name
        assert ("latch" in by_name[row.name]) == row.latching
        assert ("never paused" in by_name[row.name]) == (not row.may_pause)
    paused = [name for name, checks in by_name.items() if {"paused", "new alarm during pause"} <= checks]
    assert len(paused) > 25
    assert [name for name, checks in by_name.items() if "without the contact" in checks] == [
        "stored_energy", "bypass"]
    assert sum("power cut" in checks for checks in by_name.values()) > 30


# The oxygen cell's lag is its worst: for a step whose last tenth crosses the limit.
OF_THE_CELL = {"purity_very_low", "purity_low", "cylinder_in_use"}


def test_delays_stay_within_what_the_trade_allows(whole):
    """On-delay + one period of the channel (or one breath) + 200 ms; sensor lag is disclosed (trade)."""
    for row in whole.rows:
        if row.measured_s is not None:
            assert row.measured_s <= row.allowed_s, row.name
            assert row.allowed_s - row.on_delay_s - row.lag_s <= 12.3, row.name
            assert bool(row.why) == bool(row.lag_s), row.name
            # A lag is the measurement's, and no slack: more than half of it is used.
            if row.lag_s >= 2 and row.name not in OF_THE_CELL:
                assert row.measured_s - row.on_delay_s >= 0.55 * row.lag_s, row.name


FAULTS = {
    "limit": ("supply_interrupted", k.R_LIMIT, lambda word: word - 300),
    "no deadband, wrong side": ("rail_low", k.R_KIND, lambda word: k.ABOVE),
    "delay too long": ("pressure_high", k.R_ON, lambda word: 60),
    "delay too short": ("purity_low", k.R_ON, lambda word: 0),
    "priority": ("pressure_low", k.R_PRIORITY, lambda word: k.LOW),
    "latch lost": ("supply_dangerous", k.R_FLAGS, lambda word: word & ~k.LATCHING),
    "may be paused": ("pressure_high", k.R_FLAGS, lambda word: word | k.MAY_PAUSE),
    "wrong mode": ("below_ambient", k.R_MODES, lambda word: alarms.STANDBY),
    "wrong input": ("output_low", k.R_VALUE, lambda word: 11),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_planted_fault_is_found(fault, runtime, monkeypatch):
    name, word, change = FAULTS[fault]

    def faulty(settings):
        table = engine.compile_table(settings)
        at = k.T_SIZE + alarms.ID_OF[name] * k.R_SIZE + word
        table[at] = change(table[at])
        return table

    monkeypatch.setattr(alarm_system, "compile_table", faulty)
    report = drill([name], runtime=runtime)
    assert report.failed == 1, fault


def test_the_certificate_says_what_it_is(whole, tmp_path):
    web, printed = certificate.write(whole, tmp_path / "drill", "2026-01-02 03:04")
    text = web.read_text("utf-8")
    for said in ("SIMULATED", "Not a medical device", whole.firmware_digest, whole.settings_digest):
        assert said in text
    assert all(row.name.replace("_", " ") in text for row in whole.rows)
    assert printed.read_bytes().startswith(b"%PDF")
    with pytest.raises(UserError, match="is there already"):
        certificate.write(whole, tmp_path / "drill", "")


def test_one_object_and_its_status():
    words = ["drill", "--row", "rail_low", "--row", "cylinder_short", "--json"]
    done = CliRunner().invoke(nightkeel.cli, words)
    assert done.exit_code == 0, done.output
    report = json.loads(done.stdout)
    assert (report["passed"], report["failed"], report["not_tried"]) == (2, 0, 0)
    assert report["simulated"] is True
    assert [row["name"] for row in report["rows"]] == ["cylinder_short", "rail_low"]
    assert "rail_low" in done.stderr


def test_a_certificate_in_the_way_is_said_before_anything_is_drilled(tmp_path, monkeypatch):
    """Without a name the whole drill writes drill-certificate; an old one stays as it is."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("firmware_sim.rig.drill.run.drill", lambda *_: pytest.fail("drilled all the same"))
    (tmp_path / "drill-certificate.pdf").write_text("an older one")
    with pytest.raises(UserError, match=r"drill-certificate\.pdf is there already"):
        CliRunner().invoke(nightkeel.cli, ["drill"], catch_exceptions=False)


def test_a_failed_row_is_status_1(monkeypatch):
    monkeypatch.setattr(alarm_system, "compile_table", lambda settings: engine.compile_table(s.defaults(1)))
    done = CliRunner().invoke(nightkeel.cli, ["drill", "--row", "pressure_high", "--json"])
    assert done.exit_code == 1
    assert json.loads(done.stdout)["failed"] == 1


def test_an_unknown_row_is_said():
    with pytest.raises(UserError, match="did you mean pressure_high"):
        CliRunner().invoke(nightkeel.cli, ["drill", "--row", "pressure_hihg"], catch_exceptions=False)


@pytest.mark.parametrize(("condition", "raised"), [("open", True), ("ok", False)])
def test_a_broken_sensor_of_the_modules_own_rail_alarms(runtime, condition, raised):
    """Open it reads full scale, so that a low rail would never be noticed."""
    bench = Bench(runtime).start()
    since = bench.now_ms
    bench.fault("rail", condition)
    bench.run(30)
    assert (bench.first(alarms.ID_OF["self_test_failed"], "raised", since) is not None) == raised
    assert bench.first(alarms.ID_OF["rail_low"], "raised", since) is None
