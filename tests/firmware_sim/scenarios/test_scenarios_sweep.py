"""Every scenario: loads, plays, and its truth fits what it says must be found."""

from dataclasses import replace

import numpy as np
import pytest

from firmware_sim import scenarios
from firmware_sim.contract import alarms
from firmware_sim.contract.channels import SUPPLY_STATES
from firmware_sim.world.plant import Plant
from firmware_sim.world.scenario import from_json, to_json

# The nights that the project promises to play.
PROMISED = {
    "quiet-night", "monsoon-night", "left-in-bypass", "circuit-apart", "dry-sieve",
    "generator-dawn", "sensor-trouble", "theatre-day", "everything-dark", "nominal-twins",
    "breaker-behind-tap", "edge-of-window", "second-outage", "good-mains-no-oxygen",
    "cylinder-takeover", "twenty-warm-ups", "leak-then-apart", "slow-stroke", "limit-hides-kink",
    "small-child", "flat-line", "bellows-hole", "restless-thumb", "dark-and-apart", "wrong-date",
    "lost-neutral", "swapped-taps", "module-dark", "reset-mid-case", "ghost-volts",
}  # fmt: skip

CONDITIONS = {row[1] for row in alarms.ROWS}


class Played:
    """One scenario, run once for all tests of this file."""

    def __init__(self, name):
        self.scenario = scenarios.load(name)
        self.plant = Plant(self.scenario)
        left = round(self.scenario.duration_s * 10)
        oxygen, pressure, self.supply_peak_cv = [], [], 0
        while left:
            lines = self.plant.advance(min(left, 3000))
            left -= lines.blocks
            oxygen.append(lines.oxygen_ppm)
            pressure.append(lines.pressure_ucm)
            for line in (lines.supply_in_cv, lines.supply_out_cv):
                self.supply_peak_cv = max(self.supply_peak_cv, line.max(), -line.min())
        self.oxygen_pct = np.concatenate(oxygen) / 1e4
        self.pressure = np.concatenate(pressure) / 1e3
        self.truth = self.plant.truth()
        self.breaths = self.plant.breaths()


@pytest.fixture(scope="module", params=scenarios.names())
def played(request):
    return Played(request.param)


def test_all_promised_nights_are_there():
    assert set(scenarios.names()) >= PROMISED


@pytest.mark.parametrize("name", scenarios.names())
def test_a_scenario_says_that_it_is_invented_and_survives_json(name):
    scenario = scenarios.load(name)
    assert scenario.name == name
    assert scenario.description.startswith("Invented")
    assert scenario.must_find
    assert from_json(to_json(scenario)) == scenario
    assert scenarios.start_utc(scenario).utcoffset().total_seconds() == 0
    for finding in scenario.must_find:
        assert 0 <= finding.from_s < finding.to_s <= scenario.duration_s
        if finding.kind == "alarm" and "condition" in finding.values:
            assert finding.values["condition"] in CONDITIONS
        if finding.kind == "supply_state":
            assert finding.values["state"] in SUPPLY_STATES


def test_truth_fits_the_findings(played):  # one walk over all kinds on purpose
    """What physics decides must already be so in the truth."""
    for finding in played.scenario.must_find:
        check = globals().get(f"check_{finding.kind}")
        if check is not None:
            assert check(played, finding) is not finding.never, finding


def check_supply_event(played, finding):
    want = finding.values
    swapped = played.plant.taps_swapped
    for record in played.truth:
        tap = {"in": "out", "out": "in"}[record.tap] if swapped and record.tap else record.tap
        if record.tap is None or want.get("tap", tap) != tap or want.get("event", record.kind) != record.kind:
            continue
        end_ms = record.end_ms if record.end_ms is not None else played.plant.now_ms
        near = 1000 * (finding.from_s - finding.tolerance_s) <= record.start_ms
        near = near and record.start_ms <= 1000 * (finding.to_s + finding.tolerance_s)
        low, high = want.get("residual_pct", (-1, 1000))
        short, long = want.get("duration_s", (0, 1e9))
        if near and low <= record.residual_pct <= high and short <= (end_ms - record.start_ms) / 1000 <= long:
            return True
    return False


def share_in_state(played, state, from_s, to_s):
    total = 0.0
    for span in played.plant.supply_states():
        end = played.plant.now_ms if span.end_ms is None else span.end_ms
        if span.state == state:
            total += max(0.0, min(end / 1000, to_s) - max(span.start_ms / 1000, from_s))
    return total / (to_s - from_s)


def check_supply_state(played, finding):
    share = share_in_state(played, finding.values["state"], finding.from_s, finding.to_s)
    # A state that must not be claimed must also not be the truth for more than moments.
    return share > 0.02 if finding.never else share >= 0.9 * finding.values.get("at_least_share", 0.5)


def check_supply_transfers(played, finding):
    spans = [s for s in played.plant.supply_states() if s.state == "stored_energy"]
    count = sum(finding.from_s <= s.start_ms / 1000 <= finding.to_s for s in spans)
    low, high = finding.values["count"]
    return low <= count <= high


def check_oxygen(played, finding):
    part = played.oxygen_pct[round(10 * finding.from_s) : round(10 * finding.to_s)]
    low, high = finding.values["pct"]
    return bool(low <= part.min() and part.max() <= high)


def check_breaths(played, finding):
    inside = played.breaths["start_ms"] >= 1000 * finding.from_s
    inside &= played.breaths["start_ms"] < 1000 * finding.to_s
    names = np.array(["ventilator", "hand", "patient", "effort"])[played.breaths["kind"]]
    low, high = finding.values["count"]
    return bool(low <= (inside & (names == finding.values["kind"])).sum() <= high)


def check_pressure(played, finding):
    part = played.pressure[round(100 * finding.from_s) : round(100 * finding.to_s)]
    for name, value in (
        ("peak_cmh2o", part.max()),
        ("low_cmh2o", part.min()),
        ("rest_cmh2o", np.median(part)),
    ):
        low, high = finding.values.get(name, (-1e9, 1e9))
        if not low <= value <= high:
            return False
    return True


def test_truth_is_consistent(played):
    """Times lie in the night, ends after starts, every record says whether it can be observed."""
    now = played.plant.now_ms
    assert now == round(1000 * played.scenario.duration_s)
    for record in played.truth:
        assert 0 <= record.start_ms <= now
        assert record.end_ms is None or record.end_ms >= record.start_ms
        assert record.observability in ("observable", "inferable", "unobservable")
        assert (record.tap is None) == (record.residual_pct is None)
    states = played.plant.supply_states()
    assert all(
        a.end_ms == b.start_ms and a.state != b.state for a, b in zip(states, states[1:], strict=False)
    )
    starts = played.breaths["start_ms"]
    assert (np.diff(starts) > 0).all()
    assert (played.breaths["peak_ucm"] >= played.breaths["mean_ucm"]).all()
    assert (played.breaths["mean_ucm"] >= played.breaths["lowest_ucm"]).all()
    assert played.oxygen_pct.max() < 99.6
    assert played.oxygen_pct.min() > 20.9
    assert played.supply_peak_cv < 80_000


def test_unknown_names_and_files(tmp_path):
    with pytest.raises(scenarios.ScenarioError, match="did you mean quiet-night"):
        scenarios.load("quite-night")
    with pytest.raises(scenarios.ScenarioError, match="known are"):
        scenarios.load("zzz")
    with pytest.raises(scenarios.ScenarioError, match="can't be read"):
        scenarios.load(str(tmp_path / "none.json"))
    path = tmp_path / "x.json"
    for text in ("{", "[]", '{"name": "x"}', '{"name": "x", "title": "", "description": "", "event": []}'):
        path.write_text(text)
        with pytest.raises(scenarios.ScenarioError):
            scenarios.load(str(path))


def test_a_file_plays_like_the_built_in(tmp_path):
    path = tmp_path / "night.json"
    path.write_text(to_json(scenarios.load("flat-line")))
    a, b = Plant(scenarios.load(str(path))), Plant(scenarios.load("flat-line"))
    assert np.array_equal(a.advance(100).supply_out_cv, b.advance(100).supply_out_cv)


def test_dates_that_do_not_exist_are_refused(tmp_path):
    scenario = scenarios.load("quiet-night")
    with pytest.raises(scenarios.ScenarioError, match="no date"):
        scenarios.start_utc(replace(scenario, start="2026-02-31T19:00:00"))
    with pytest.raises(scenarios.ScenarioError, match="time zone"):
        scenarios.start_utc(replace(scenario, zone="Mars/Base"))


def test_the_clock_change_is_inside_wrong_date():
    """Egypt's clocks go back at the end of the last Thursday of October (tz database)."""
    from zoneinfo import ZoneInfo

    scenario = scenarios.load("wrong-date")
    start = scenarios.start_utc(scenario)
    zone = ZoneInfo(scenario.zone)
    end = start.fromtimestamp(start.timestamp() + scenario.duration_s, tz=zone)
    assert start.astimezone(zone).utcoffset() != end.utcoffset()
