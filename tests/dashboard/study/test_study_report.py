"""What `nightkeel study` writes: self-contained, honest about its coverage, readable by others."""

import io
import json
import re
import zipfile
from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from dashboard.cli.study import study
from dashboard.reports.study_data import site_of
from dashboard.reports.study_dictionary import dictionary, package
from dashboard.reports.study_figures import SHAPES_MAX, draw_all
from dashboard.reports.study_report import case_of, html, matched, plain
from dashboard.reports.study_sections import limits_part
from dashboard.reports.study_tables import tables_of, unit_of
from dashboard.texts import CATALOGUES, Words
from ingest.analysis.supply.classify import VOLTAGE_BANDS
from ingest.analysis.supply.limits import judge_periods
from ingest.errors import UserError
from ingest.store.reader import open_reader
from tests.dashboard.test_texts import strangers
from tests.support.night_store import MODULE
from tests.support.supply_store import HOURS, START, write_supply

END = START + HOURS * 3_600_000


@pytest.fixture(scope="module")
def case(supply_store):
    with open_reader(supply_store) as reader:
        return case_of(site_of(reader, reader.modules()[0], START, END, zone=UTC))


@pytest.fixture(scope="module")
def written(supply_store, tmp_path_factory):
    out = tmp_path_factory.mktemp("study") / "out"
    result = CliRunner().invoke(study, [str(supply_store), "--out", str(out), "--package"])
    assert result.exception is None, result.output
    count = len([p for p in out.rglob("*") if p.is_file()])
    assert result.output == f"{count} files below {out}. SIMULATED.\n"
    return out


def test_the_report_needs_nothing_from_elsewhere(written):
    page = (written / "report.html").read_text()
    assert re.findall(r'(?:src|href)="(?!#)[^"]*"', page) == []
    assert "url(http" not in page
    assert page.count("<svg") == len(list((written / "figures").glob("*.svg"))) >= 5
    names = re.findall(r' id="([^"]*)"', page)
    assert len(names) == len(set(names))


def test_the_report_begins_with_what_was_not_watched_and_is_marked(written):
    page = (written / "report.html").read_text()
    text = re.sub(r"\s+", " ", re.sub(r"<style.*?</style>|<svg.*?</svg>|<[^>]*>", " ", page, flags=re.DOTALL))
    order = ("SIMULATED.", "Not watched: 30 min of 4 h 00 min", "Not measured:",
             "What must be said of this record",
             "the module itself dark: 1 (30 min)", "at least", "Methods", "To cite: nightkeel")  # fmt: skip
    places = [text.index(piece) for piece in order]
    assert places == sorted(places)


def test_the_pdf_has_its_pages(written):
    from weasyprint import HTML

    assert (written / "report.pdf").read_bytes().startswith(b"%PDF-")
    page = (written / "report.html").read_text()
    assert '@top-right { content: "SIMULATED";' in page
    assert 4 <= len(HTML(string=page).render().pages) <= 9


def test_tables_are_the_same_as_csv_and_parquet_and_all_marked(written):
    for path in (written / "tables").glob("*.parquet"):
        table = pd.read_parquet(path)
        other = pd.read_csv(path.with_suffix(".csv"))
        assert list(table.columns) == list(other.columns)
        assert len(table) == len(other)
        assert (table["origin"] == "SIMULATED").all()
        for column in table.select_dtypes("float"):
            assert np.allclose(table[column], other[column].astype(float), equal_nan=True), column
    events = pd.read_parquet(written / "tables" / "events.parquet")
    assert str(events.start_utc.dt.tz) == "UTC"
    assert events.start_utc.iloc[0] == pd.Timestamp("2026-03-01T00:10:00Z")


def test_the_summary_gives_every_figure_its_coverage(written):
    summary = json.loads((written / "summary.json").read_text(), parse_constant=pytest.fail)
    assert summary["origin"] == "SIMULATED"
    assert summary["coverage_percent"] == pytest.approx(87.5)
    assert {one["coverage_percent"] for one in summary["figures"]} != {None}
    by_name = {one["name"]: one for one in summary["figures"]}
    assert by_name["availability"]["value"] == pytest.approx(100 * 206 / 210)
    assert summary["cite"].startswith("To cite: nightkeel 0.")
    assert summary["thresholds_percent"]["study.dip"] == 90.0
    assert summary["dips"]["B2"] == 1
    assert summary["disturbances"] == {"waveforms": 1, "dip": 1}
    (part,) = summary["voltage"]
    assert sum(part["histogram"]["hours"]) + part["histogram"]["missing_h"] == pytest.approx(HOURS)


def test_figures_come_as_svg_and_png(written):
    svg = {p.stem for p in (written / "figures").glob("*.svg")}
    assert svg == {p.stem for p in (written / "figures").glob("*.png")}
    always = {"voltage", "magnitude_duration", "duration_curve", "histogram", "week", "harmonics"}
    assert svg == always | (svg & {"sizing", "survival"})


def test_the_package_names_nobody_and_keeps_the_hour(case):
    data = package(case)
    assert data == package(case)
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        texts = {name: archive.read(name).decode() for name in archive.namelist()}
    everything = "\n".join(texts.values())
    for secret in (f"{MODULE:08x}", "invented ward", "bed 7", "2026"):
        assert secret not in everything
    events = pd.read_csv(io.StringIO(texts["events.csv"]), parse_dates=["start_utc"])
    first = events.start_utc.iloc[0]
    assert (first.day_name(), first.hour, first.minute) == ("Sunday", 0, 10)
    assert first.year == 2000
    assert set(events.module) == {"a"}
    assert "SIMULATED" in texts["events.csv"]


def test_the_histogram_holds_the_measured_hours_in_their_classes(case):
    """Each class against a count by hand, each ten minutes with the part of it that was measured."""
    table = tables_of(case)["histogram"]
    ten = case.site.record.ten_minutes
    for row in table.itertuples():
        assert row.class_to_v - row.class_from_v == 2
        here = (ten.rms_v >= row.class_from_v) & (ten.rms_v < row.class_to_v)
        assert row.measured_h == pytest.approx(ten.coverage[here].sum() / 6, abs=1e-4)
    assert table["measured_h"].sum() == pytest.approx(3.5, abs=1e-3)
    assert set(table["coverage_percent"]) == {87.5}


def test_every_figure_in_a_table_stands_beside_its_coverage(case):
    """Of what is no figure of its own, events and gaps have their bounds, the week its hours watched."""
    tables = tables_of(case)
    bare = {name for name, table in tables.items() if "coverage_percent" not in table}
    assert bare == {"events", "week", "disturbances", "gaps"}
    assert {"duration_least_s", "unseen_s"} <= set(tables["events"])
    assert "watched_h" in tables["week"]
    assert set(tables["duration_curve"]["coverage_percent"]) == {87.5}
    assert set(tables["sizing"]["coverage_percent"]) == {87.5}
    # One snapshot in the four hours' 24 intervals.
    assert set(tables["harmonics"]["coverage_percent"]) == {round(100 / 24, 4)}


def test_many_weeks_are_one_row_that_counts_them_and_shows_the_worst(case):
    """The file keeps each week with its beginning; the page says how many were met and gives the worst."""
    from dataclasses import replace

    values = np.full(3 * 1008, 230.0)
    values[1008:1308] = 180.0
    values[2100:2160] = np.nan
    weeks = judge_periods(values, 230.0, VOLTAGE_BANDS[0], 600.0, START / 1000)
    part = replace(case.study.voltage[0], limits=tuple(weeks))
    long = replace(case, study=replace(case.study, voltage=(part,), frequency=(), harmonics=()))
    section = limits_part(long, Words())
    (row,) = section.tables[0].rows
    assert row == ["10-min voltage, 95 % of a week", "met: 1, not met: 1, not decided: 1", "70.2",
                   "70.2 … 70.2", "100.0"]  # fmt: skip
    assert "figures are those of the worst" in section.texts[1]
    table = tables_of(long)["limits"]
    assert list(table["verdict"]) == ["met", "not met", "not decided"]
    assert [text[:10] for text in table["from_utc"]] == ["2026-03-01", "2026-03-08", "2026-03-15"]


def test_the_report_names_the_disturbance_in_each_waveform(written):
    page = (written / "report.html").read_text()
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", page))
    assert "Waveforms captured around events: 1; dips and swells in the record: 4." in text
    table = pd.read_csv(written / "tables" / "disturbances.csv")
    assert list(table["disturbance"]) == ["dip"]
    assert table["start_utc"].iloc[0].startswith("2026-03-01T00:09:59.8")


def test_tables_have_no_digits_that_nobody_measured(case):
    """Readings come in steps of 0.01 V, 1 mHz and 1 ms; a mean may have one digit more, and keeps it."""
    from dataclasses import replace

    record = case.site.record
    exact = record.ten_minutes.rms_v * (np.pi / 3)
    odd = replace(record.ten_minutes, rms_v=exact, frequency_hz=exact / 4)
    table = tables_of(replace(case, site=replace(case.site, record=replace(record, ten_minutes=odd))))
    for column, values, step in (("rms_v", exact, 1e-3), ("frequency_hz", exact / 4, 1e-4)):
        written = table["ten_minutes"][column]
        assert np.allclose(written, values, atol=0.51 * step, rtol=0, equal_nan=True)
        assert np.allclose(written / step, np.round(written / step), atol=1e-6, rtol=0, equal_nan=True)
        said = written.dropna().to_csv(index=False, header=False).split()
        assert max(len(text.partition(".")[2]) for text in said) == -round(np.log10(step))


def test_a_crowd_of_events_is_drawn_as_pixels_inside_the_drawing(case):
    """The curves stay lines, the page needs nothing from elsewhere, and the picture reaches the paper."""
    from dataclasses import replace

    from weasyprint import HTML

    (event,) = [e for e in case.site.record.events if e.kind == "swell"]
    many = tuple(replace(event, start_s=event.start_s + n) for n in range(SHAPES_MAX + 1))
    crowded = replace(case, site=replace(case.site, record=replace(case.site.record, events=many)))
    few, crowd = (
        next(d for d in draw_all(one, Words(), "UTC") if d.name == "magnitude_duration")
        for one in (case, crowded)
    )
    assert few.svg.count(b"<image") == 0
    assert crowd.svg.count(b"<image") == 1
    assert crowd.svg.count(b"<use") < few.svg.count(b"<use") + 20
    page = html(case, [], [crowd], Words(), UTC, datetime(2026, 3, 2, tzinfo=UTC))
    assert re.findall(r'href="(?!#|data:image/png;base64,)[^"]*"', page) == []
    assert HTML(string=page).write_pdf().count(b"/Subtype /Image") >= 1


def test_the_dictionary_is_whole(case):
    table = dictionary(case)
    listed = {(row.table, row.column) for row in table.itertuples()}
    assert listed == {(name, column) for name, one in tables_of(case).items() for column in one.columns}
    assert unit_of("sag_energy_s") == "s"
    assert unit_of("recharge_min") == "min"
    assert unit_of("mixed") == ""


def test_events_are_matched_across_modules(tmp_path, case):
    from dataclasses import replace

    shifted = tuple(
        replace(e, start_s=e.start_s + 0.1, module="b") for e in case.site.record.events if e.kind != "swell"
    )
    other = replace(case, site=replace(case.site, record=replace(case.site.record, events=shifted)))
    ((_, _, found),) = matched(case, [other])
    assert len(found.pairs) == 4
    assert [e.kind for e in found.only_first] == ["swell"]
    assert found.offset_s == pytest.approx(0.1)


def test_the_report_says_nothing_of_its_own(case):
    words = Words("en", {key: f"⟦{text}⟧" for key, text in CATALOGUES["en"].items()})
    page = html(case, [], [], words, UTC, datetime(2026, 3, 2, tzinfo=UTC))
    body = page[page.index("<body>") :]
    said = [text.strip() for text in re.findall(r">([^<]+)<", body) if text.strip()]
    # Cells hold values, classes of the standards and dates; sentences come from the catalogue.
    values = re.compile(r"[A-DXST] |[\d-]|[−\d]")
    assert [text for text in strangers(said) if " " in text and not values.match(text)] == []


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (["--from", "yesterday"], "yesterday is no date"),
        (["--from", "2026-03-01T03:00", "--to", "2026-03-01T02:45"], "is not after"),
        (["--from", "2027-01-01"], "holds no data of module"),
        (["--reference", "12"], "A reference of 12 V is not possible"),
        (["--reference", "high"], "A reference of high V is not possible"),
        (["--module", "1234"], "holds no module 1234; it holds"),
        (["--zone", "Mars/Olympus"], "Mars/Olympus is no time zone"),
        (["--from", "2026-03-01T02:05", "--to", "2026-03-01T02:20"], "holds no data"),
    ],
)
def test_bad_input_is_one_sentence(supply_store, tmp_path, args, says):
    result = CliRunner().invoke(study, [str(supply_store), "--out", str(tmp_path / "o"), *args])
    assert isinstance(result.exception, UserError)
    assert says in str(result.exception)
    assert "\n" not in str(result.exception)
    assert not (tmp_path / "o").exists()


def test_a_file_in_the_place_of_the_folder_is_refused(supply_store, tmp_path):
    (tmp_path / "o").write_text("")
    result = CliRunner().invoke(study, [str(supply_store), "--out", str(tmp_path / "o")])
    assert "name a folder" in str(result.exception)


def test_no_number_that_is_not_one_reaches_the_summary():
    assert plain({"a": np.float64("nan"), "b": (float("inf"), np.int64(3))}) == {"a": None, "b": [None, 3]}


def test_a_real_module_is_not_called_simulated(tmp_path):
    path = write_supply(tmp_path / "real.db", emulated=False)
    with open_reader(path) as reader:
        case = case_of(site_of(reader, reader.modules()[0], START, END, zone=UTC))
    page = html(case, [], [], Words(), UTC, datetime(2026, 3, 2, tzinfo=UTC))
    assert "SIMULATED" not in page
    assert "data of a real module" in page


def test_the_report_speaks_french_and_the_tables_stay_as_they_are(supply_store, written, tmp_path):
    result = CliRunner().invoke(study, [str(supply_store), "--out", str(tmp_path), "--language", "fr"])
    assert result.exception is None, result.output
    page = (tmp_path / "report.html").read_text("utf-8")
    assert '<html lang="fr">' in page
    text = re.sub(r"<[^>]+>", " ", re.sub(r"<(style|svg)\b.*?</\1>", " ", page, flags=re.S))
    english = {said for key, said in CATALOGUES["en"].items() if key.startswith("study.") and len(said) > 20}
    whole = {said for said in english if "{" not in said and said not in CATALOGUES["fr"].values()}
    assert len(whole) > 60
    assert [said for said in whole if said in text] == []
    for name in ("summary.json", "tables/dictionary.csv", "tables/figures.csv"):
        assert (tmp_path / name).read_bytes() == (written / name).read_bytes(), name


def test_the_package_holds_the_captured_waveforms(supply_store, written):
    """Each waveform once, both taps, volts as the store has them; its time moved by whole weeks."""
    archive = zipfile.ZipFile(io.BytesIO((written / "package.zip").read_bytes()))
    rows = pd.read_csv(archive.open("captures.csv"))
    assert list(rows["kind"]) == ["snapshot", "event"]
    assert list(rows["samples"]) == [642, 3200]
    assert set(rows["origin"]) == {"SIMULATED"}
    moved = pd.to_datetime(rows["start_utc"]).iloc[1]
    assert (moved.hour, moved.minute, moved.second) == (0, 9, 59)
    assert moved.year == 2000
    wave = pd.read_csv(archive.open(rows["file"].iloc[1]))
    assert list(wave.columns) == ["ms", "before_v", "after_v"]
    with open_reader(supply_store) as reader:
        kept = reader.captures(reader.modules()[0].id, START, END, 0)
    assert np.abs(wave["before_v"].to_numpy() - kept[0].volts).max() < 0.001
    assert np.abs(wave["before_v"][640:2240]).max() < 0.75 * np.abs(wave["after_v"]).max()
    told = pd.read_csv(archive.open("dictionary.csv"))
    assert set(told[told["table"] == "captures"]["column"]) == set(rows.columns)
    assert set(told[told["table"] == "waves"]["column"]) == set(wave.columns)
