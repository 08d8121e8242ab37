"""Many nights: the same figures with one process or two, and after a kill; each interval against a table."""

import json
import os
import subprocess
import sys
import time
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

import nightkeel
from ingest.analysis import fleet as statistics
from ingest.errors import UserError
from ingest.fleet import Plan, night_file, open_folder, play_night, run
from ingest.fleet_tables import flat, gather
from tests.support.fleet_nights import killed, written

PLAN = Plan(scenario="invented", hours=None, profile="large", first_seed=3, nights=6)


def tables(out):
    """Return all that a fleet wrote."""
    names = ("nights", "alarms", "supply_events", "rates")
    return {name: pq.read_table(out / f"{name}.parquet").to_pylist() for name in names}


def played(out):
    """Play the plan in this process and gather it."""
    for seed in open_folder(out, PLAN):
        play_night(written, PLAN, out, seed)
    gather(PLAN, out)
    return tables(out)


def test_a_kill_costs_the_nights_in_hand_and_two_processes_give_the_figures_of_one(tmp_path):
    with pytest.raises(BrokenProcessPool):
        list(run(killed, PLAN, tmp_path / "killed", 2))
    done = [seed for seed in PLAN.seeds() if night_file(tmp_path / "killed", seed).exists()]
    assert set(done) <= {3, 4, 5} and done
    before = {seed: night_file(tmp_path / "killed", seed).stat().st_mtime_ns for seed in done}
    assert sorted(run(written, PLAN, tmp_path / "killed", 2)) == sorted({*PLAN.seeds()} - {*done})
    gather(PLAN, tmp_path / "killed")
    assert tables(tmp_path / "killed") == played(tmp_path / "whole")
    # What was finished was not played again, and nothing half done was left.
    assert before == {seed: night_file(tmp_path / "killed", seed).stat().st_mtime_ns for seed in done}
    assert not list((tmp_path / "killed").glob("work-*")) and not list(tmp_path.rglob("*.part"))


def test_a_killed_fleet_leaves_nobody_at_work(tmp_path):
    told = (
        "from pathlib import Path\n"
        "from ingest.fleet import Plan, run\n"
        "from tests.support.fleet_nights import long\n"
        f"plan = Plan(scenario='{tmp_path}', hours=None, profile='large', first_seed=1, nights=1)\n"
        "if __name__ == '__main__':\n    list(run(long, plan, Path('out'), 1))\n"
    )
    script = tmp_path / "fleet_of_one.py"
    script.write_text(told)
    top = Path(__file__).parents[3]
    here = {**os.environ, "PYTHONPATH": str(top)}
    fleet = subprocess.Popen([sys.executable, script], cwd=tmp_path, env=here)
    player = until(lambda: next(iter(tmp_path.glob("*.pid")), None))
    fleet.kill()
    fleet.wait()
    until(lambda: is_gone(player.stem))


def is_gone(pid):
    """Tell whether a process has ended; where nobody buries the dead it stays listed as Z."""
    try:
        return Path("/proc", pid, "stat").read_text().rsplit(")", 1)[1].split()[0] == "Z"
    except FileNotFoundError:
        return True


def until(true):
    """Return the first true answer; fail when none comes."""
    end = time.monotonic() + 60
    while time.monotonic() < end:
        if found := true():
            return found
        time.sleep(0.05)
    raise AssertionError("it did not come about")


def test_what_is_gathered_is_what_the_nights_held(tmp_path):
    found = played(tmp_path)
    assert [night["seed"] for night in found["nights"]] == list(PLAN.seeds())
    assert "wall_s" not in found["nights"][0]
    # Seeds 3 to 8: alarms 0, 1, 2, 0, 1, 2; an interruption in 4, 6 and 8.
    assert [row["seed"] for row in found["alarms"]] == [4, 5, 5, 7, 8, 8]
    assert {(row["alarm"], row["priority"]) for row in found["alarms"]} == {("purity_low", "medium")}
    assert [row["duration_s"] for row in found["supply_events"]] == [4.5] * 3
    rates = {row["name"]: row for row in found["rates"]}
    assert rates["alarm purity_low"]["total"] == 6 and rates["alarm purity_low"]["per_night"] == 1.0
    assert rates["interruptions, mains"]["share"] == 0.5
    assert rates["min interrupted, mains"]["per_night"] == pytest.approx(3 * 4.5 / 60 / 6)
    note = pq.read_schema(tmp_path / "alarms.parquet").metadata
    assert note[b"origin"] == b"SIMULATED"


def test_more_nights_add_to_what_is_there_and_another_plan_is_refused(tmp_path):
    played(tmp_path)
    more = Plan(scenario="invented", hours=None, profile="large", first_seed=3, nights=8)
    assert open_folder(tmp_path, more) == [9, 10]
    other = Plan(scenario="invented", hours=1.0, profile="large", first_seed=3, nights=8)
    with pytest.raises(UserError, match="another plan"):
        open_folder(tmp_path, other)
    with pytest.raises(UserError, match="no finished night"):
        gather(Plan(scenario="x", hours=None, profile="large", first_seed=99, nights=1), tmp_path)


def test_a_real_night_is_kept_as_it_was_played(tmp_path):
    plan = Plan(scenario="circuit-apart", hours=0.01, profile="large", first_seed=9, nights=1)
    open_folder(tmp_path, plan)
    play_night(nightkeel.simulate, plan, tmp_path, 9)
    kept = json.loads(night_file(tmp_path, 9).read_text())
    assert kept["night"]["seed"] == 9 and len(kept["night"]["digest"]) == 64
    assert kept["night"]["unmonitored_min"] < 0.05
    assert {"alarm", "priority", "start_s", "duration_s", "end_seen"} == set(kept["alarms"][0])


@pytest.mark.parametrize(("count", "low", "high"), [
    (0, 0.0, 3.689), (1, 0.0253, 5.572), (5, 1.623, 11.668), (10, 4.795, 18.390)])  # fmt: skip
def test_exact_poisson_interval(count, low, high):
    """Table of exact 95 % limits of a Poisson count (Garwood 1936; values from memory)."""
    found = statistics.poisson(count, 1)
    assert (found.low, found.high) == pytest.approx((low, high), abs=6e-4)


@pytest.mark.parametrize(("hits", "nights", "low", "high"), [
    (0, 10, 0.0, 0.3085), (5, 10, 0.1871, 0.8129), (10, 10, 0.6915, 1.0), (1, 20, 0.0013, 0.2487),
])  # fmt: skip
def test_exact_binomial_interval(hits, nights, low, high):
    """Table of exact 95 % limits of a proportion (Clopper and Pearson 1934; values from memory)."""
    found = statistics.share(hits, nights)
    assert (found.low, found.high) == pytest.approx((low, high), abs=6e-5)


def test_resampled_interval_covers_and_follows_clusters():
    """Of normal amounts the interval is the mean +-1.96 s/sqrt(n) (textbook), here within a tenth."""
    generator = np.random.default_rng(4)
    amounts = generator.normal(10, 2, 400)
    found = statistics.resampled(amounts)
    half = 1.96 * amounts.std(ddof=1) / 20
    assert found.high - found.low == pytest.approx(2 * half, rel=0.1)
    # All events in a tenth of the nights: the count's own interval is too narrow by far.
    clustered = np.repeat([0.0, 30.0], [90, 10])
    wide, narrow = statistics.rate("x", list(clustered)), statistics.poisson(300, 100)
    assert wide.method == statistics.RESAMPLED
    assert wide.per_night.high - wide.per_night.low > 3 * (narrow.high - narrow.low)
    # 27 by hand: variance 81.8 (n - 1), mean 3.
    assert wide.clustering == pytest.approx(27.27, abs=0.01)


def test_few_nights_and_none_seen_say_how_little_is_known():
    assert statistics.rate("x", [0.0] * 100).per_night.high == pytest.approx(3.689 / 100, abs=1e-4)
    assert statistics.rate("x", [1.0, 2.0]).method == statistics.POISSON
    row = flat(statistics.rate("minutes", [1.5, 0.0], counted=False))
    assert row["per_night"] == 0.75 and row["per_night_low"] is None and row["clustering"] is None
