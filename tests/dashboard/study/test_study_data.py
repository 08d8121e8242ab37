"""From a store to the record that the study reads: nothing lost, nothing joined that is not one."""

from dataclasses import replace
from datetime import UTC
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dashboard.reports.study_data import days_of, site_of
from dashboard.reports.study_dictionary import hidden
from dashboard.reports.study_report import case_of
from dashboard.reports.study_tables import figures, tables_of
from dashboard.reports.study_waveforms import name_of, waveforms_of
from ingest.store.annotations import open_annotations
from ingest.store.reader import open_reader
from tests.support.night_store import MODULE
from tests.support.supply_store import DARK_MS, FIFTH, HOURS, START, Supply

END = START + HOURS * 3_600_000


def site(path, start=START, end=END, **options):
    with open_reader(path) as reader:
        return site_of(reader, reader.modules()[0], start, end, **({"zone": UTC} | options))


@pytest.fixture(scope="module")
def whole(supply_store):
    return site(supply_store)


def test_the_dark_half_hour_is_censored_and_not_quiet(whole):
    (gap,) = whole.record.gaps
    assert gap.dark
    assert (gap.start_s, gap.end_s) == ((START + DARK_MS[0]) / 1000, (START + DARK_MS[1]) / 1000)
    found = case_of(whole).study
    assert found.coverage_percent == pytest.approx(100 * (4 - 0.5) / 4)
    notes = {note.key for note in found.notes}
    assert {"gap", "module dark", "event still open", "coverage low"} <= notes
    assert found.availability.low_percent < found.availability.percent < found.availability.high_percent


def test_events_are_those_of_the_tap_and_an_interruption_lies_in_its_dip(whole, supply_store):
    kinds = [(e.kind, round(e.start_s - START / 1000, 3)) for e in whole.record.events]
    assert kinds == [("dip", 600), ("swell", 1200), ("dip", 1800), ("interruption", 1800), ("dip", 7100)]
    (after,) = site(supply_store, tap=1).record.events
    assert (after.kind, after.extreme_v, after.duration_s) == ("dip", 120.0, pytest.approx(0.08))


def test_an_event_without_an_end_is_at_least_as_long_as_was_seen(whole):
    last = whole.record.events[-1]
    assert last.still_open
    assert last.back_s == START / 1000 + DARK_MS[0] / 1000
    assert last.duration_bounds_s == (pytest.approx(100.0), float("inf"))


def test_ten_minutes_are_root_mean_squares_with_their_coverage(whole):
    table = whole.record.ten_minutes
    assert len(table) == 24
    dark = slice(12, 15)
    assert np.isnan(table.rms_v[dark]).all()
    assert (table.coverage[dark] == 0).all()
    rest = np.r_[0:12, 15:24]
    assert table.rms_v[rest] == pytest.approx(231.0)
    assert table.low_v[rest] == pytest.approx(230.0)
    assert table.high_v[rest] == pytest.approx(232.0)
    assert table.frequency_hz[rest] == pytest.approx(50.0)
    assert (table.coverage[rest] == 1.0).all()
    assert whole.means_only == 0


def test_ten_second_frequencies_lie_on_the_whole_grid(whole):
    hertz = whole.record.ten_second_hz
    assert len(hertz) == 4 * 360
    assert int(np.isnan(hertz).sum()) == 180


def test_a_snapshot_gives_its_fifth_harmonic(whole):
    assert whole.snapshots == 1
    row = whole.record.harmonics_percent[0]
    # Made with 4 %; the converter's step of 0.39 V is 0.05 % of the peak.
    assert row[4] == pytest.approx(100 * FIFTH, abs=0.05)
    assert np.delete(row, [0, 4]).max() < 0.05
    assert np.isnan(whole.record.harmonics_percent[1:]).all()


def test_the_figures_agree_with_worked_ones(whole):
    case = case_of(whole)
    assert case.study.dips["B2"] == 1  # 70 % belongs to B, 500 ms to column 2 (EN 50160, quoted)
    assert case.study.swells["T1"] == 1
    assert case.study.interruptions.long == 1
    energy = tables_of(case)["events"].sag_energy_s.iloc[0]
    assert energy == pytest.approx(0.255)  # 0.7 pu for 0.5 s (IEEE 1564, worked out)
    rates = {f.name: f for f in figures(case)}
    assert rates["swell"].value == pytest.approx(7 * 24 / 3.5)
    assert all(f.coverage_percent is not None for f in figures(case))


def test_an_unknown_nominal_voltage_leaves_out_what_is_a_part_of_it(supply_store):
    from dataclasses import replace

    with open_reader(supply_store) as reader:
        module = replace(reader.modules()[0], nominal_v=0)
        case = case_of(site_of(reader, module, START, END, zone=UTC))
        given = site_of(reader, module, START, END, zone=UTC, reference_v=240.0)
    assert "nominal unknown" in {note.key for note in case.study.notes}
    assert case.study.outside.value is None
    assert case.site.record.events == ()
    assert "availability" not in {f.name for f in figures(case)}
    assert given.record.events[0].reference_v == 240.0


def test_a_change_of_calibration_parts_the_voltage(tmp_path):
    night = Supply(tmp_path / "c.db", START)
    night.report()
    night.steady(0, 3000, volts=230.0)
    night.report(2, calibration__supply_in_gain=16548)
    night.steady(3000, 7200, volts=232.0)
    night.close()
    case = case_of(site(tmp_path / "c.db", end=START + 7_200_000))
    first, second = case.study.voltage
    assert (first.mean_v, second.mean_v) == (pytest.approx(230.0), pytest.approx(232.0))
    assert case.study.outside.reason == "calibration changed"
    by_name = {f.name: f for f in figures(case)}
    assert by_name["mean"].value is None
    assert by_name["mean"].reason == "calibration changed"


def test_changed_thresholds_are_counted(tmp_path):
    night = Supply(tmp_path / "t.db", START)
    night.report()
    night.steady(0, 600)
    night.report(2, study__dip=8500)
    night.steady(600, 1200)
    night.close()
    found = site(tmp_path / "t.db", end=START + 1_200_000)
    assert found.threshold_changes == 1
    assert found.thresholds["study.dip"] == 85.0


def test_marks_give_labels_site_and_trips(tmp_path):
    from tests.support.supply_store import write_supply

    path = write_supply(tmp_path / "m.db")
    said = {"module": MODULE, "author": "AB", "now": END}
    with open_annotations(path, END) as book:
        book.add(utc=START, kind="site", text="", data={"phase": "L2", "feeder": "hospital"}, **said)
        book.add(
            utc=START + 1_790_000, utc_end=START + 2_100_000, kind="supply label", text="",
            data={"label": "load-shedding"}, **said,
        )  # fmt: skip
        for name, watched in (("pump", 7_000_000), ("concentrator", 700_000)):
            data = {"equipment": name}
            end = START + watched
            book.add(utc=START, utc_end=end, kind="equipment watched", text="", data=data, **said)
        book.add(utc=START + 600_900, kind="trip", text="", data={"equipment": "pump"}, **said)
    found = site(path)
    assert found.about == {"phase": "L2", "feeder": "hospital"}
    assert found.labels == ("", "", "load-shedding", "load-shedding", "")
    case = case_of(found)
    rows = {(r.equipment, r.up_to_s): (r.survived, r.tripped) for r in case.study.ride_through}
    assert rows["pump", 0.5] == (0, 1)
    assert rows["pump", float("inf")] == (1, 0)
    assert rows["concentrator", 0.5] == (1, 0)
    assert rows["concentrator", float("inf")] == (0, 0)
    assert list(tables_of(case)["events"]["tripped"])[:2] == ["pump", ""]
    shown = tables_of(hidden(case))
    assert "pump" not in shown["trials"].to_csv() + shown["events"].to_csv() + shown["ride_through"].to_csv()
    assert list(shown["events"]["tripped"])[:2] == ["equipment 2", ""]


def test_days_and_progress_agree(supply_store):
    steps = []
    site(supply_store, progress=lambda: steps.append(1), zone=ZoneInfo("Asia/Kolkata"))
    assert len(steps) == days_of(START, END) == 1


def test_a_gap_inside_ten_minutes_and_inside_an_event_is_counted(tmp_path):
    night = Supply(tmp_path / "g.db", START)
    night.report()
    night.steady(0, 890)
    night.event(1, 0, 880_000, None, 0)
    night.steady(890, 900)
    night.open_boot(2, START + 1_000_000)
    night.report()
    night.event(2, 0, 1_500, 400, 150.0)  # so soon after the start that it may have begun in the gap
    night.steady(0, 200)
    night.close()
    found = site(tmp_path / "g.db", end=START + 1_200_000)
    assert found.record.ten_minutes.coverage == pytest.approx([1.0, 5 / 6])
    first, second = found.record.events
    assert first.still_open
    assert first.duration_s == pytest.approx(20.0)
    assert second.before_s == pytest.approx(100.0)
    assert second.duration_bounds_s == (pytest.approx(0.4), pytest.approx(100.4))
    assert "event may have begun in a gap" in {note.key for note in case_of(found).study.notes}


def test_flicker_needs_half_cycles_and_says_so(whole):
    """What isn't kept isn't estimated; rapid changes come from seconds where all of them are there."""
    case = case_of(whole)
    assert {f.name: f.reason for f in figures(case) if f.name.startswith(("pst", "plt"))} == dict.fromkeys(
        ("pst_p95", "pst_greatest", "plt"), "half cycles not kept"
    )
    assert tables_of(case)["ten_minutes"]["pst"].isna().all()
    assert case.study.flicker_limits == ()
    assert whole.record.rapid_from == "seconds"


def test_flicker_is_estimated_from_half_cycles_that_were_kept(tmp_path):
    """A sine of 8.8 Hz and 0.250 % makes Pinst = 1 (published); Pst of a steady Pinst of 1 is 0.714."""
    path = tmp_path / "flicker.db"
    night = Supply(path, START)
    night.report(study__half_cycles=1)
    at = np.arange(20 * 60 * 100) / 100
    depth = 0.5 * 0.0025 * np.sinc(8.8 * 0.02)
    volts = 231 * (1 + depth * np.sin(2 * np.pi * 8.8 * at))
    volts[(at > 300) & (at <= 310)] *= 0.94
    night.steady(0, 1800, halves=volts.tolist())
    night.close()
    found = site(path, end=START + 1_200_000)
    assert found.record.pst.tolist() == [pytest.approx(np.nan, nan_ok=True), pytest.approx(0.714, rel=0.05)]
    assert found.record.rapid_from == "half cycles"
    assert [(round(e.start_s - START / 1000), round(e.steady_change_v, 1)) for e in found.record.rapid] == [
        (300, -13.9), (310, 13.9),
    ]  # fmt: skip
    case = case_of(found)
    shown = tables_of(case)
    assert shown["ten_minutes"]["pst"].iloc[1] == pytest.approx(found.record.pst[1], abs=0.5e-4)
    assert list(shown["rapid_changes"]["found_in"]) == ["half cycles"] * 2
    assert case.study.flicker.pst_greatest == found.record.pst[1]
    assert case.study.flicker.coverage_percent == 50.0
    # Half an hour of which twenty minutes have half cycles: seconds serve for the changes, Pst stays.
    longer = site(path, end=START + 1_800_000)
    assert longer.record.rapid_from == "seconds"
    assert np.isnan(longer.record.pst).tolist() == [True, False, True]


def test_waveforms_of_events_are_named_and_those_with_lost_parts_are_not(supply_store):
    """The captured dip has a fifth harmonic of 4 % too: what changes the whole wave comes first."""
    with open_reader(supply_store) as reader:
        module = reader.modules()[0]
        (named,) = waveforms_of(reader, module.id, START, END, 0, 230.0, 50.0)
        assert named.disturbance == "dip"
        (after,) = waveforms_of(reader, module.id, START, END, 1, 230.0, 50.0)
        assert after.disturbance == "normal"
        assert waveforms_of(reader, module.id, START, END, 0, None, 50.0) == ()
        (kept,) = (one for one in reader.captures(module.id, START, END, 0) if one.tap == 0)
    assert named.start_s == kept.start / 1000
    assert name_of(kept, 230.0, 50.0) == "dip"
    assert name_of(replace(kept, complete=False), 230.0, 50.0) is None
    assert name_of(replace(kept, codes=kept.codes[:500], volts=kept.volts[:500]), 230.0, 50.0) is None
