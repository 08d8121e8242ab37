"""What is said of a night, from a store: notes, load, exposure, breath times, marks, units, the handover."""

import re
import shutil
from dataclasses import replace
from html import unescape
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from click.testing import CliRunner

from dashboard import marking
from dashboard.cli.handover import handover as command
from dashboard.frames import Stretch
from dashboard.marking import Draft, time_in_night
from dashboard.morning import Mornings, read_morning
from dashboard.pages import load, marks
from dashboard.queries import choose_module, night_frame, nights, now_frame, reading
from dashboard.reports.handover import chosen, handover, write_files
from dashboard.settings import Settings
from dashboard.texts import Words
from dashboard.units import in_unit, night_in, now_in
from dashboard.view import view_of
from ingest import marks as writing
from ingest.analysis.breathing.reference import find_breaths
from ingest.errors import UserError
from ingest.store.annotations import open_annotations
from ingest.store.reader import breathing, open_reader
from tests.dashboard.conftest import HOURS, START, said
from tests.support.night_store import MODULE, OUTAGE, Night
from tests.support.nights import play

MINUTE = 60_000
HOUR = 60 * MINUTE


@pytest.fixture(scope="module")
def told(store):
    """The night of the story and all that is said of it."""
    with reading(store) as reader:
        night = nights(reader, MODULE, 0)[0]
        return night, read_morning(reader, choose_module(reader, None), night)


@pytest.fixture(scope="module")
def kinked(tmp_path_factory):
    """Forty minutes of the invented night whose relief valve hides a kink from minute 30 on."""
    return play("limit-hides-kink", tmp_path_factory.mktemp("kink") / "night.db", hours=40 / 60).store


def test_breaths_start_where_the_wave_rises(kinked):
    """Against the slow reference finder, which shares neither method nor code with the module's."""
    with open_reader(kinked) as reader:
        module, (start, _) = reader.modules()[0].id, reader.span()
        wave = reader.wave(module, start + 20 * MINUTE, start + 25 * MINUTE)
        truth = find_breaths(breathing.traces(wave)[0])
        table = breathing.breath_table(reader.breaths(module, start, start + 60 * MINUTE))
    apart = [np.abs(table.start_ms - at).min() for at in truth.start_ms[1:-1]]
    assert len(apart) > 50
    assert max(apart) <= 100


def test_a_kink_behind_the_limit_is_noted_where_it_was(kinked):
    with open_reader(kinked) as reader:
        night = reader.nights(reader.modules()[0].id)[0]
        notes = read_morning(reader, reader.modules()[0], night).facts.notes
    assert [note.key for note in notes] == ["note.cannot_tell_kink"]
    assert notes[0].start_ms - night.first == pytest.approx(30 * MINUTE, abs=10_000)


def test_breathing_by_the_hour(told, view):
    """Median and range of each hour, counted again from the breaths as they are stored."""
    morning = told[1]
    first = morning.facts.start_ms
    inside = (morning.breaths.start_ms >= first) & (morning.breaths.start_ms < first - first % HOUR + HOUR)
    rate = morning.breaths.rate_min[inside]
    page = said(load.sections(morning, "/night", view))
    low, middle, high = (f"{value:.1f}" for value in (rate.min(), np.median(rate), rate.max()))
    assert f"{inside.sum()} {middle} ({low} to {high})" in page
    hours = said(load.sections(morning, "/night", view)[2])
    assert hours.count("to") >= 3 * HOURS - 3
    assert "cmH2O" in hours
    assert "hPa" in said(load.sections(morning, "/night", replace(view, unit="hPa"))[2])
    # Clocks go back an hour within the night: the hour that comes twice is told apart.
    begun = 1_792_882_800_000  # 2026-10-24 23:00 UTC
    changed = replace(morning, facts=replace(morning.facts, start_ms=begun, end_ms=begun + 4 * HOUR))
    twice = said(load.sections(changed, "/night", replace(view, zone=ZoneInfo("Europe/Paris")))[2])
    assert "02:00 UTC+02:00" in twice
    assert "02:00 UTC+01:00" in twice


def test_alarm_load_is_beside_published_figures(told, view):
    """Görges et al. 2009: 6.07 an hour, published."""
    morning = told[1]
    page = said(load.sections(morning, "/night", view))
    hours = morning.burden.watched_h
    assert hours == pytest.approx(HOURS - 0.2, abs=0.02)
    assert morning.burden.per_hour == pytest.approx(morning.burden.activations / hours)
    assert f"{morning.burden.per_hour / 6.07:.2f} ×" in page
    assert "not a bed" in page
    assert "A quiet pressure trace does not prove ventilation." in page
    assert "where the tube lies" in page


def test_exposure_is_that_of_the_story(told):
    exposure = told[1].exposure
    assert exposure.purity_under_min[82.0] == pytest.approx(40.0, abs=0.2)
    assert exposure.purity_under_min[70.0] == 0
    assert exposure.states_min["stored_energy"] == pytest.approx(OUTAGE[1] - OUTAGE[0], abs=0.2)


def test_a_night_is_worked_out_once_and_again_after_a_change():
    kept, count = Mornings(), []
    for key in ((1,), (1,), (2,), (1,)):
        kept.get(key, lambda key=key: count.append(key) or object())
    assert count == [(1,), (2,)]


@pytest.fixture
def own(store, tmp_path, view):
    """A copy to write marks into, and its settings."""
    path = shutil.copy(store, tmp_path / "own.db")
    return Settings(store=path, clock=lambda: view.now)


def test_a_mark_keeps_its_history_and_is_found_in_every_night(own, view):
    search = f"?night={START - 8 * 60 * MINUTE}"
    assert marks.saved(own, view, search, None, ("01:30", "suction", "A.B.", "pillow <script>")) == (
        True, "Written down.",
    )  # fmt: skip
    assert marks.saved(own, view, search, 1, ("01:31", "moved", "C.D.", "pillow moved"))[0]
    rows, _ = marks.listed(own, view, search, "/night")
    page = said(rows)
    assert "01:31:00 C.D. Moved pillow moved" in page
    assert "A.B.: Suction: pillow <script>" in page
    found = said(marks.found_marks(own, view, "", "PILLOW", "/night"))
    assert "Found: 1 2026-03-01 01:31:00" in found
    assert "No mark holds these words." in said(marks.found_marks(own, view, "", "script", "/night"))
    with open_reader(own.store) as reader:
        assert [mark.version for mark in reader.mark_history(1)] == [1, 2]


def test_a_mark_of_another_page_keeps_its_kind_when_it_is_changed(own, view):
    with open_annotations(own.store, view.now) as notes:
        given = {"utc": START + 90 * MINUTE, "kind": "elsewhere", "author": "A.B.", "text": "x"}
        number = notes.add(module=MODULE, now=view.now, **given)
    search = f"?night={START - 8 * 60 * MINUTE}"
    assert marks.saved(own, view, search, number, ("01:31", "elsewhere", "C.D.", "y"))[0]
    assert marks.saved(own, view, search, None, ("01:31", "elsewhere", "C.D.", "z"))[0]
    with open_reader(own.store) as reader:
        assert [one.kind for one in reader.mark_history(number)] == ["elsewhere", "elsewhere"]
        assert reader.mark_history(number + 1)[-1].kind == "note", "a new one is what this page may write"


def test_a_mark_is_refused_in_words(own, view):
    assert marks.saved(own, view, "", None, ("12:61", "note", "A.B.", ""))[1].startswith("Write the time")
    assert marks.saved(own, view, "", None, ("01:30", "note", "  ", ""))[1].startswith("Write your initials")
    with open_annotations(own.store, view.now):  # somebody holds the writer's lock
        done, text = marks.saved(own, view, "", None, ("01:30", "note", "A.B.", "x"))
    assert not done
    assert text.startswith("Not written: ")


def test_a_mark_goes_through_the_daemon_while_one_answers(own, view, monkeypatch):
    asked = []

    class Daemon:
        def __init__(self, store):
            assert store == own.store

        def running(self):
            return True

        def add_mark(self, **fields):
            asked.append(fields)
            return 7

    monkeypatch.setattr(writing, "Client", Daemon)
    draft = Draft(utc=START, kind="note", author="A.B.", text="x")
    with open_annotations(own.store, view.now):
        assert marking.write(own.store, MODULE, draft, view.now) == 7
    (given,) = asked
    wanted = {"module": MODULE, "utc": START, "kind": "note", "author": "A.B.", "text": "x"}
    assert {name: given[name] for name in wanted} == wanted


def test_a_time_of_the_clock_is_found_across_its_change():
    """Europe/Paris, 2026-03-29 01:00 UTC: 02:00 becomes 03:00 (tz database)."""
    zone, start = ZoneInfo("Europe/Paris"), 1_774_695_600_000 + 60 * 60 * 1000  # 2026-03-28 12:00 UTC
    end = start + 24 * 60 * MINUTE
    assert time_in_night("01:30", start, end, zone) == 1_774_744_200_000  # 00:30 UTC
    assert time_in_night("02:30", start, end, zone) is None
    assert time_in_night("3.30", start, end, zone) == 1_774_747_800_000  # 01:30 UTC
    assert time_in_night("24:00", start, end, zone) is None
    assert time_in_night("noon", start, end, zone) is None


def test_pressure_is_shown_in_the_unit_asked_for(store, view):
    """1 cmH2O = 98.0665 Pa, conventional value; 1 mbar = 1 hPa, by definition."""
    assert in_unit(100.0, "hPa") == pytest.approx(98.0665)
    assert in_unit(100.0, "mbar") == pytest.approx(98.0665)
    with reading(store) as reader:
        module = choose_module(reader, None)
        frame = night_frame(reader, module, START, START + 60 * MINUTE, 200)
        now = now_frame(reader, module, view.now, 1000)
    other = night_in(frame, "hPa")
    assert other.pressure.high == pytest.approx(frame.pressure.high * 0.980665, nan_ok=True)
    assert other.breaths.peak.mean == pytest.approx(frame.breaths.peak.mean * 0.980665)
    high, before = other.limits["pressure.high"][0].value, frame.limits["pressure.high"][0].value
    assert high == pytest.approx(before * 0.980665)
    assert other.limits["oxygen.low"] == frame.limits["oxygen.low"]
    assert other.oxygen is frame.oxygen
    assert now_in(now, "mbar").breath.peak == pytest.approx(now.breath.peak * 0.980665)
    settings = Settings(store=store)
    assert view_of({"nk_unit": "mbar"}, settings).unit == "mbar"
    assert view_of({"nk_unit": "psi"}, settings).unit == "cmH2O"


NAMES = (
    "purity_low", "stored_energy", "pressure_high", "rate_high", "bypass", "many_dips", "oxygen_not_current",
    "end_expiratory_low", "rate_low", "source_stopped", "battery_short", "pressure_low", "disconnected",
    "no_breath",
)  # fmt: skip


def busy_night(path):
    """Write an hour with hundreds of alarms, many disconnections and long notes."""
    night = Night(path, START)
    night.settings()
    for second in range(3600):
        night.second(night.tick + 1000, 330.1 if second % 120 < 40 else 10.0)
    for number in range(180):
        night.alarm(NAMES[number % len(NAMES)], number / 3, "raised")
        night.alarm(NAMES[number % len(NAMES)], number / 3 + 0.3, "cleared")
    night.commit()
    night.close()
    with open_annotations(path, START) as notes:
        for number in range(40):
            notes.add(module=MODULE, utc=START + number * MINUTE, kind="note", author="A.B.",
                      text=f"{number} " + "a long remark that somebody wrote in the night " * 8,
                      now=START)  # fmt: skip
    return path


@pytest.mark.parametrize("language", ["en", "fr"])
def test_a_busy_night_stays_one_page(tmp_path_factory, language, view):
    """More of everything than a page holds: lists are cut and say how much they leave out."""
    folder = tmp_path_factory.getbasetemp()
    path = folder / "busy.db"
    if not path.exists():
        busy_night(path)
    with open_reader(path) as reader:
        night = nights(reader, MODULE, 0)[0]
        page = handover(reader, night, replace(view, words=Words(language)))
    assert page.pages == 1
    words = Words(language)
    shown = unescape(page.html)
    assert words("handover.simulated") in shown
    assert words("summary.pressure_proves_nothing") in shown
    assert page.pdf.startswith(b"%PDF")
    assert "on the page Night" in shown or "à la page Nuit" in shown


def test_the_handover_says_what_the_night_was(store, view, tmp_path):
    with reading(store) as reader:
        night = chosen(nights(reader, MODULE, 0), "2026-02-28", view)
        page = handover(reader, night, replace(view, unit="hPa"))
        with pytest.raises(UserError, match="There is no night of 1999-01-01"):
            chosen(nights(reader, MODULE, 0), "1999-01-01", view)
    body = page.html[page.html.index("<body>") :]
    # Unmonitored time first, then what isn't measured.
    assert body.index("12 min went unrecorded") < body.index("Not measured: inspired oxygen")
    assert body.index("Not measured") < body.index("The mains failed")
    covered = ("7 h 48 min of 8 h 00 min", "97.5 %")
    for text in ("SIMULATED", "invented ward", "Adult", "hPa", *covered):
        assert text in body
    assert re.search(r"<td>01:(29:5|30:0)\d</td>", body), "the circuit apart"
    assert [path.suffix for path in write_files(page, tmp_path / "out", "x")] == [".html", ".pdf"]


def test_typed_text_cannot_break_the_page(own, view):
    marks.saved(own, view, "", None, ("01:30", "note", "A.B.", "<script>alert(1)</script>"))
    with reading(own.store) as reader:
        page = handover(reader, nights(reader, MODULE, 0)[0], view)
    assert "<script>" not in page.html
    assert "&lt;script&gt;" in page.html


def test_the_command_writes_both_files_and_refuses_in_a_sentence(store, tmp_path):
    done = CliRunner().invoke(command, [str(store), "--out", str(tmp_path), "--lang", "fr"])
    assert done.exit_code == 0, done.output
    assert sorted(p.suffix for p in tmp_path.iterdir()) == [".html", ".pdf"]
    assert "Transmission, nuit du 2026-02-28" in (tmp_path / "handover-2026-02-28.html").read_text("utf-8")
    bad = CliRunner().invoke(command, [str(store), "--out", str(tmp_path), "--zone", "Mars/Base"])
    assert isinstance(bad.exception, UserError)


def test_what_was_not_recorded_is_hatched(store, view):
    from dashboard.reports.handover_figure import trend_svg

    with reading(store) as reader:
        frame = night_frame(reader, choose_module(reader, None), START, START + 60 * MINUTE, 200)
    plain = trend_svg(frame, view)
    hole = Stretch(start=START, end=START + MINUTE, name="unmonitored")
    dark = trend_svg(replace(frame, dark=[hole]), view)
    assert "url(#" in dark
    assert len(dark) > len(plain)

