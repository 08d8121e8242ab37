"""Mains, UPS and their waves."""

import numpy as np
import pytest

RATE = 3200


def rms(cv):
    return np.sqrt(np.mean(np.square(cv / 100.0)))


def halves(line, cycle=64):
    """Return the rms of each half cycle at exactly 50 Hz."""
    blocks = line[: len(line) // (cycle // 2) * (cycle // 2)].reshape(-1, cycle // 2) / 100.0
    return np.sqrt((blocks**2).mean(axis=1))


@pytest.mark.parametrize(("volts", "hz"), [(230.0, 50.0), (120.0, 60.0)])
def test_nominal_wave(plant, volts, hz):
    p = plant(nominal_v=volts, nominal_hz=hz, mains={"thd_pct": 4.0})
    lines = p.advance(120)
    line = lines.supply_in_cv[6400:38400]
    assert rms(line) == pytest.approx(volts, rel=1e-3)
    spectrum = np.abs(np.fft.rfft(line))
    k = round(hz * len(line) / RATE)
    assert spectrum.argmax() == k
    distortion = np.sqrt(sum(spectrum[h * k] ** 2 for h in range(2, 25))) / spectrum[k]
    assert distortion == pytest.approx(0.04, rel=0.01)


def test_a_dip_starts_at_its_very_sample(plant, at_event):
    for shift in range(0, 64, 7):
        t = 5.0 + shift / RATE
        p = plant((at_event(t, "mains", "dip", residual_pct=40.0, duration_s=0.2),), mains={"thd_pct": 0.0})
        line = p.advance(80).supply_in_cv / 100.0
        n = np.arange(len(line))
        unit = np.sqrt(2) * 230 * np.sin(2 * np.pi * n / 64)
        start = 16_000 + shift
        expected = np.where((n >= start) & (n < start + 640), 0.4, 1.0) * unit
        assert np.abs(line - expected)[3200:].max() < 1.0


@pytest.mark.parametrize("shift", range(0, 64, 16))
def test_true_event_length_follows_the_time_stamp_convention(plant, at_event, shift):
    """Residual 0 for one cycle: 1.5 cycles between window starts when aligned, else 1.5-2.0 (worked out)."""
    t = 5.0 + shift / RATE
    p = plant((at_event(t, "mains", "interruption", duration_s=0.02),), mains={"thd_pct": 0.0})
    p.advance(80)
    (event,) = [r for r in p.truth() if r.tap == "in"]
    cycles = (event.details["end_sample"] - event.details["start_sample"]) / 64
    assert cycles == (1.5 if shift % 32 == 0 else pytest.approx(2.0, abs=0.51))
    assert event.observability == "observable"


def test_half_a_cycle_of_80_per_cent_is_no_event(plant, at_event):
    """sqrt((1 + 0.8²)/2) = 0.9055: a half-overlapped window stays above 90 % (worked out)."""
    p = plant((at_event(5.0, "mains", "dip", residual_pct=80.0, duration_s=0.01),), mains={"thd_pct": 0.0})
    p.advance(80)
    assert not [r for r in p.truth() if r.tap]


def test_dip_depth_is_the_lowest_window(plant, at_event):
    p = plant((at_event(5.0, "mains", "dip", residual_pct=70.0, duration_s=0.5),), mains={"thd_pct": 2.0})
    p.advance(80)
    (event,) = [r for r in p.truth() if r.tap == "in"]
    assert event.kind == "dip"
    assert event.residual_pct == pytest.approx(70.0, abs=0.1)


def test_an_interruption_is_told_from_a_dip(plant, at_event):
    """Below 5 % of nominal (EN 50160, published)."""
    events = (
        at_event(5.0, "mains", "interruption", residual_pct=4.0, duration_s=0.5),
        at_event(9.0, "mains", "interruption", residual_pct=6.0, duration_s=0.5),
        at_event(12.0, "mains", "swell", residual_pct=115.0, duration_s=0.5),
    )
    p = plant(events, mains={"thd_pct": 0.0})
    p.advance(150)
    assert [r.kind for r in p.truth() if r.tap == "in"] == ["interruption", "dip", "swell"]


def test_double_conversion_hides_dips_and_bypass_passes_them(plant, at_event):
    dip = at_event(5.0, "mains", "dip", residual_pct=60.0, duration_s=0.5)
    normal = plant((dip,))
    out = halves(normal.advance(100).supply_out_cv)
    assert out.min() > 0.99 * 230
    bypass = plant((dip,), initial={"bed": 1.0, "ups_normal": 0.0})
    lines = bypass.advance(100)
    assert halves(lines.supply_out_cv).min() < 0.62 * 230
    residual = lines.supply_out_cv - lines.supply_in_cv * 0.9985
    assert np.abs(residual).max() < 2, "bypass: the very wave of the input"


def test_window_and_hysteresis(plant, at_event):
    """Common practice: 69.6-130.4 % of rated. Transfer and return differ."""
    for low in (True, False):
        levels = np.arange(100.0, 60.0, -0.5) if low else np.arange(100.0, 140.0, 0.5)
        both = [*levels, *levels[::-1]]
        events = [at_event(10 + 5 * k, "mains", "set", level_pct=float(v)) for k, v in enumerate(both)]
        p = plant(events)
        contact = p.advance(10 * (10 + 5 * len(both))).ups_contact
        sampled = [contact[10 * (10 + 5 * k) + 45] for k in range(len(both))]
        turn = len(levels)
        gone = next(v for v, state in zip(both[:turn], sampled[:turn], strict=True) if state == 2)
        back = next(v for v, state in zip(both[turn:], sampled[turn:], strict=True) if state == 1)
        assert gone == pytest.approx(69.6 if low else 130.4, abs=0.5)
        assert back == pytest.approx(73.9 if low else 126.1, abs=0.5)


def test_battery_carries_about_twenty_minutes_then_restarts_in_bypass(plant, at_event):
    """About 20 min (common practice, no source)."""
    p = plant((at_event(60, "mains", "interruption", duration_s=1800),), ventilator={"source": 1})
    p.advance(10 * 2000)
    states = [s.state for s in p.supply_states()]
    assert states == ["normal", "stored_energy", "dead", "bypass"]
    assert 18.5 < p.battery_min() < 21.5
    assert [b for _, _, b in p.transfers()] == states[1:]


def test_less_load_lasts_longer_than_in_proportion(plant, at_event):
    """Constant power with seeping charge: half the load lasts more than twice as long (Peukert's finding)."""

    def minutes(flow):
        p = plant(
            (at_event(10, "mains", "interruption", duration_s=9000),),
            concentrator={"flow_l_min": flow},
            ups={"own_w": 0.0, "base_load_w": 0.0},
        )
        p.advance(10 * 5400)
        return p.battery_min()

    assert minutes(3.0) > 2.05 * minutes(6.0)


def test_recharge_takes_hours(plant, at_event):
    def second_run(wait_s):
        events = (
            at_event(10, "mains", "interruption", duration_s=900),
            at_event(910 + wait_s, "mains", "interruption", duration_s=3000),
        )
        p = plant(events)
        p.advance(round(10 * (910 + wait_s + 3000)))
        spans = [s for s in p.supply_states() if s.state == "stored_energy"]
        return (spans[-1].end_ms - spans[-1].start_ms) / 60_000

    soon, late = second_run(1800), second_run(6 * 3600)
    assert soon < 13
    assert 18 < late < 21.5


def test_overload_and_inverter_fault_go_to_bypass(plant, at_event):
    p = plant((at_event(20, "ups", "set", base_load_w=1600.0),))
    p.advance(600)
    assert [s.state for s in p.supply_states()] == ["normal", "bypass"]
    p = plant((at_event(20, "ups", "inverter_fault"),))
    p.advance(300)
    assert [s.state for s in p.supply_states()] == ["normal", "bypass"]


def test_start_current_of_the_concentrator_does_not_trip_the_ups(plant, at_event):
    events = (at_event(20, "concentrator", "off"), at_event(60, "concentrator", "on"))
    p = plant(events)
    lines = p.advance(900)
    assert {s.state for s in p.supply_states()} == {"normal"}
    start, steady = lines.ups_output_ma[600:660].max(), lines.ups_output_ma[800]
    assert 3 < start / steady < 6, "3-6 times (common practice)"


def test_pressing_normal_without_good_input_is_refused(plant, at_event):
    events = (
        at_event(1, "mains", "set", level_pct=60.0),
        at_event(10, "ups", "switch_to_normal"),
        at_event(20, "mains", "set", level_pct=100.0),
        at_event(40, "ups", "switch_to_normal"),
    )
    p = plant(events, initial={"bed": 1.0})
    p.advance(600)
    assert [(s.state, s.start_ms // 1000) for s in p.supply_states()] == [("bypass", 0), ("normal", 40)]


def test_open_breaker_lets_the_phase_slip_while_the_tap_stays_live(plant, at_event):
    events = (at_event(20, "ups", "open_breaker", duration_s=1200.0),)
    p = plant(events, mains={"frequency_hz": 50.05})

    def phase(lines):
        n = np.arange(3200)
        turn = np.exp(-2j * np.pi * 50.05 * n / RATE)
        ins, outs = lines.supply_in_cv[-3200:], lines.supply_out_cv[-3200:]
        return np.angle(np.dot(outs, turn) / np.dot(ins, turn))

    assert abs(phase(p.advance(200))) < 0.02, "locked"
    p.advance(30)
    slips = [phase(p.advance(10)) for _ in range(10)]
    slip = np.diff(np.unwrap(slips)) / (2 * np.pi)
    assert slip == pytest.approx(np.full(9, -0.05 + 50 * 60e-6), abs=0.002)
    assert rms(p.advance(100).supply_in_cv) == pytest.approx(230, rel=0.01)


def test_after_an_outage_the_phase_is_pulled_in_again(plant, at_event):
    p = plant((at_event(20, "mains", "interruption", duration_s=100.0),), mains={"frequency_hz": 50.03})
    p.advance(1200)
    after = p.advance(200)
    gap = after.supply_out_cv[-3200:] / 100.0 - after.supply_in_cv[-3200:] / 100.0
    assert np.sqrt(np.mean(gap**2)) < 0.05 * 230


def test_classes_vi_and_vfd(plant, at_event):
    """IEC 62040-3: VI stabilised, VFD follows (published terms)."""
    low = at_event(10, "mains", "set", level_pct=88.0)
    vi = plant((low,), ups={"class_code": 1})
    assert rms(vi.advance(300).supply_out_cv[-3200:]) == pytest.approx(230 * 0.88 * 1.12, rel=0.01)
    vfd = plant((low,), ups={"class_code": 2})
    assert rms(vfd.advance(300).supply_out_cv[-3200:]) == pytest.approx(230 * 0.88, rel=0.01)
    cut = plant((at_event(10, "mains", "interruption", duration_s=5.0),), ups={"class_code": 2})
    out = halves(cut.advance(130).supply_out_cv)
    assert out[1000:1010].min() < 0.2 * 230, "a VFD has a gap"
    assert out[1020:1400].min() > 0.98 * 230


def test_mains_wanders_as_set(plant):
    p = plant(mains={"sway_pct": 1.0, "wobble_pct": 0.3, "wander_hz": 0.05})
    per_block = (
        np.sqrt((p.advance(36_000).supply_in_cv.reshape(-1, 320).astype(float) ** 2).mean(axis=1)) / 23_000
    )
    assert 0.002 < per_block.std() < 0.02
    assert per_block.mean() == pytest.approx(1.0, abs=0.02)


def test_swapped_taps_swap_the_lines_only(plant, at_event):
    cut = (at_event(5.0, "mains", "interruption", duration_s=2.0),)
    p = plant(cut, initial={"bed": 1.0, "ups_normal": 1.0, "taps_swapped": 1.0})
    lines = p.advance(100)
    assert halves(lines.supply_out_cv).min() < 1.0
    assert halves(lines.supply_in_cv).min() > 220
    assert {r.tap for r in p.truth() if r.tap} == {"in"}, "truth speaks of the plant"


def test_oscillation_decays_as_set(plant, at_event):
    p = plant((at_event(5.0, "mains", "ring", peak_v=200.0, hz=600.0, tau_s=0.01),), mains={"thd_pct": 0.0})
    q = plant(mains={"thd_pct": 0.0})
    extra = (p.advance(60).supply_in_cv - q.advance(60).supply_in_cv) / 100.0
    n = np.arange(320)
    expected = 200.0 * np.exp(-n / (RATE * 0.01)) * np.sin(2 * np.pi * 600 * n / RATE)
    assert np.abs(extra[16_000:16_320] - expected).max() < 4.0
    assert not extra[:16_000].any()
    assert [r.kind for r in p.truth() if not r.tap] == ["ring"]
