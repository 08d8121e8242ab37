"""The shared event finder, intervals, and what an event record says."""

import numpy as np
import pytest

from firmware_sim.world import supply_truth, truth
from firmware_sim.world.actions import SETTING_BOUNDS
from firmware_sim.world.plant import Plant
from firmware_sim.world.scenario import Event, Finding, Scenario, ScenarioError

NOMINAL = 23_000


def windows(levels, step=320):
    return [(k * step, round((NOMINAL * level) ** 2)) for k, level in enumerate(levels)]


def test_thresholds_and_hysteresis():
    """Dip < 90 %, back at 92; swell > 110, back at 108 (90 % published, the rest from memory)."""
    found = supply_truth.find_events(windows([1, 0.901, 0.899, 0.85, 0.91, 0.919, 0.921, 1]), NOMINAL**2)
    assert [(e.kind, e.start, e.end) for e in found] == [("dip", 640, 1920)]
    assert np.sqrt(found[0].residual_mean_square) / NOMINAL == pytest.approx(0.85, abs=1e-4)
    found = supply_truth.find_events(windows([1, 1.099, 1.101, 1.2, 1.09, 1.079, 1]), NOMINAL**2)
    assert [(e.kind, e.start, e.end) for e in found] == [("swell", 640, 1600)]


def test_interruption_has_its_inner_times():
    found = supply_truth.find_events(windows([1, 0.5, 0.04, 0.0, 0.06, 0.071, 0.5, 1]), NOMINAL**2)
    (event,) = found
    assert (event.kind, event.start, event.end) == ("interruption", 320, 2240)
    assert (event.cut_start, event.cut_end) == (640, 1600)


def test_an_open_event_has_no_end():
    (event,) = supply_truth.find_events(windows([1, 0.8, 0.8]), NOMINAL**2)
    assert event.end is None


def test_a_swell_may_turn_into_a_dip_at_once():
    found = supply_truth.find_events(windows([1, 1.2, 0.5, 1]), NOMINAL**2)
    assert [e.kind for e in found] == ["swell", "dip"]


def test_intervals_across_runs():
    runs = truth.Intervals("x")
    runs.feed(0, 100, np.array([False, True, True]))
    runs.feed(300, 100, np.array([True, False, True]))
    runs.feed(600, 100, np.array([True]))
    assert runs.spans == [(100, 400), (500, None)]


def test_held_below_has_hysteresis():
    values = np.array([90, 79, 80.5, 82, 79.9])
    assert list(truth.held_below(values, 80, 81, False)) == [False, True, True, False, True]
    assert list(truth.held_below(values[:1] * 0 + 80.5, 80, 81, True)) == [True]


def make(**changes):
    return Scenario(**{"name": "t", "title": "t", "description": "Invented.", **changes})


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"events": (Event(t_s=1, actor="mian", action="dip"),)}, "did you mean mains"),
        ({"events": (Event(t_s=1, actor="mains", action="dipp"),)}, "did you mean dip"),
        ({"events": (Event(t_s=1, actor="mains", action="dip"),)}, "needs residual_pct"),
        (
            {"events": (Event(t_s=1, actor="ups", action="set", params={"helth": 0.5}),)},
            "did you mean health",
        ),
        ({"events": (Event(t_s=-1, actor="ups", action="switch_to_normal"),)}, "from 0"),
        ({"events": (Event(t_s=float("nan"), actor="ups", action="switch_to_normal"),)}, "nan"),
        ({"settings": {"patient": {"compliance_ml_cmh2o": 0.0}}}, "from 0.5 to 300"),
        ({"settings": {"patients": {}, "lung": {"x": 1}}}, "unknown part"),
        ({"initial": {"gauge_bar": 4000.0}}, "from 0 to 300"),
        ({"initial": {"guage_bar": 100.0}}, "did you mean gauge_bar"),
        ({"duration_s": -3.0}, "duration_s"),
        ({"start": "yesterday"}, "not a local time"),
        ({"statistics": "airport"}, "hospital"),
        (
            {
                "events": (
                    Event(
                        t_s=0, actor="board", action="sensor", params={"channel": "oxigen", "fault": "open"}
                    ),
                )
            },
            "did you mean oxygen",
        ),
        (
            {"events": (Event(t_s=0, actor="person", action="set_mode", params={"mode": "fan"}),)},
            "unknown mode",
        ),
        ({"events": (Event(t_s=0, actor="mains", action="surge", params={"peak_v": "big"}),)}, "number"),
        ({"must_find": (Finding(kind="allarm", from_s=0, to_s=1),)}, "did you mean alarm"),
        (
            {"must_find": (Finding(kind="alarm", from_s=0, to_s=1, values={"conditon": "x"}),)},
            "did you mean condition",
        ),
    ],
)
def test_a_wrong_scenario_says_what_is_wrong(changes, words):
    with pytest.raises(ScenarioError) as caught:
        make(**changes)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_injected_events_happen_now_or_later(plant, at_event):
    p = plant(ventilator={"source": 1, "hanging": 1})
    p.advance(300)
    p.inject(at_event(1.0, "circuit", "disconnect", duration_s=5.0))
    p.inject(at_event(32.0, "mains", "dip", residual_pct=50.0, duration_s=0.2))
    p.advance(300)
    kinds = {r.kind: r.start_ms for r in p.truth()}
    assert kinds["circuit_apart"] == 30_000
    assert kinds["dip"] == pytest.approx(32_000, abs=20)
    with pytest.raises(ScenarioError):
        p.inject(at_event(1.0, "circuit", "explode"))


def test_ramps_run_in_a_straight_line(plant, at_event):
    p = plant((at_event(10, "patient", "set", compliance_ml_cmh2o=20.0, over_s=100.0),))
    p.advance(600)
    assert p.settings.patient.compliance_ml_cmh2o == pytest.approx(35.0, abs=0.5)
    p.advance(600)
    assert p.settings.patient.compliance_ml_cmh2o == pytest.approx(20.0)


def test_statistics_follow_the_study():
    """25 hospitals: 0.67 outages a day, median 2.01 h, within ±10 % for 73.9 % (published)."""
    from firmware_sim.world import statistics

    # 40 lives of 30 days each; standard error of the rate about 0.03.
    days, counts, lengths = 30.0, 0, []
    level_time = {True: 0.0, False: 0.0}
    for seed in range(40):
        scenario = make(statistics="hospital", duration_s=days * 86_400)
        events = statistics.draw(scenario, seed)
        cuts = [e for e in events if e.action == "interruption"]
        counts += len(cuts)
        lengths += [float(e.params["duration_s"]) for e in cuts]
        levels = [e for e in events if e.action == "set"]
        for here, after in zip(levels, levels[1:], strict=False):
            level_time[abs(float(here.params["level_pct"]) - 100) <= 10] += after.t_s - here.t_s
    assert counts / (40 * days) == pytest.approx(0.67, abs=0.1)
    assert np.median(lengths) / 3600 == pytest.approx(2.01, abs=0.25)
    assert level_time[True] / sum(level_time.values()) == pytest.approx(0.739, abs=0.02)


def test_every_setting_at_its_bounds_stays_finite():
    """Whatever a scenario file may set, the lines stay within the integers."""
    for pick in (0, 1):
        settings: dict[str, dict[str, float]] = {}
        for name, bounds in SETTING_BOUNDS.items():
            part, setting = name.split(".")
            if name not in ("mains.nominal_v", "mains.nominal_hz"):
                settings.setdefault(part, {})[setting] = bounds[pick]
        for source in (1, 2, 3):
            settings["ventilator"]["source"] = source
            plant = Plant(make(settings=settings, initial={"ups_normal": 1.0, "bed": 1.0}))
            lines = plant.advance(300)
            assert abs(lines.pressure_ucm).max() <= 400_000
            assert abs(lines.supply_in_cv).max() < 2**30
            assert 0 <= lines.oxygen_ppm.min() <= lines.oxygen_ppm.max() <= 1_000_000
            assert np.isfinite(plant.state.breathing.circuit.lung_ml)
            assert np.isfinite(plant.state.supply.ups.battery_v)
