"""The page Bench: codes beside values, who vouches; and faults that never reach a real module."""

import json
import socket
import threading
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from dashboard import benching
from dashboard.benching import Rig, bench, rig_of
from dashboard.figures.clock_fit import residual_figure
from dashboard.figures.frame import Look
from dashboard.pages import bench as page
from dashboard.queries import reading
from dashboard.settings import Settings
from dashboard.texts import english_bench, french_bench
from firmware_sim.contract import log_codes, messages, settings
from firmware_sim.rig.fault_desk import FAULTS
from ingest.store.reader import open_reader
from tests.dashboard.conftest import START, drawn, find, said, spoken
from tests.dashboard.test_texts import strangers
from tests.support.night_store import MODULE, Night

NOW = START + 40_000
DAY = START // 86_400_000


def write(path, emulated=True):
    """Write forty seconds of a module: pressure calibrated long ago, of purity only the zero checked."""
    night = Night(path, START, emulated=emulated)
    values = settings.defaults()
    values[settings.ID_OF["calibration.pressure_gain"]] = 15_754
    values[settings.ID_OF["calibration.pressure_offset"]] = 12
    night.put(messages.SETTINGS, 0, (2, 77, 0, 1, 0), values)
    night.put(messages.LOG, 0, (log_codes.POWER_UP, 1, 95), b"")
    night.put(messages.CALIBRATION, 0, (2, 1, 15_754, 12, DAY - 400, 3, 2900, 35), b"gauge 7")
    night.put(messages.CALIBRATION, 0, (3, 1, 16_384, 0, DAY, 1, 0, 30), b"zero check")
    # A row whose numbers are not those in force vouches for nothing.
    night.put(messages.CALIBRATION, 0, (0, 0, 16_000, 0, DAY, 2, 900, 30), b"meter 12")
    night.seconds(0, 40)
    codes = [-32768] * 27
    codes[0:3] = [6, -6360, 6368]
    codes[6:9] = [8173, 7648, 10_736]
    codes[9:12] = [28_485, 28_472, 28_504]
    night.put(messages.RAW, 31_000, (10,), codes)
    night.put(messages.HEALTH, 31_000, (
        START // 1000, 0, 1, 2500, 8192, 125, 40_960, 300, 7, 1, 2, 19, 4, 1, 12))  # fmt: skip
    night.commit()
    night.close()
    return path


@pytest.fixture(scope="module")
def stores(tmp_path_factory):
    """Return the store of an emulated module and that of a real one."""
    folder = tmp_path_factory.mktemp("bench")
    return {kind: write(folder / f"{kind}.db", kind == "emulated") for kind in ("emulated", "real")}


@pytest.fixture
def settings_of(stores):
    """Return settings by kind of module."""
    return lambda kind, **more: Settings(store=stores[kind], clock=lambda: NOW, **more)


@contextmanager
def answering(path, answers):
    """Answer each line on a Unix socket by `answers(request)`; yield the requests."""
    asked = []
    server = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    server.bind(str(path))
    server.listen()

    def serve():
        while True:
            try:
                client, _ = server.accept()
            except OSError:
                return
            with client:
                line = client.makefile().readline()
                if not line:
                    continue
                asked.append(json.loads(line))
                client.sendall(json.dumps({"ok": True, **answers(asked[-1])}).encode() + b"\n")

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield asked
    finally:
        server.shutdown(socket.SHUT_RDWR)
        server.close()
        Path(path).unlink()
        thread.join(30)


def board(module=MODULE, emulated=True):
    """Return how a board with faults answers."""
    def answer(request):
        if request["do"] == "status":
            return {"module": module, "emulated": emulated, "faults": list(FAULTS), "file": "bed.json"}
        return {"t_s": 214.0, "file": "bed.json"}

    return answer


def daemon(emulated=True, module=MODULE):
    """Return how a daemon answers that has this module on its link."""
    def answer(request):
        if request["do"] == "status":
            return {"links": [{"module": module, "emulated": emulated}]}
        return {"mark": 1}

    return answer


def test_codes_and_values_stand_side_by_side(settings_of, view):
    shown = page.page(settings_of("emulated"), replace(view, now=NOW), "")
    text = said(shown)
    # 6/8, -6360/8, 6368/8 codes, written by hand above; units of the channel table.
    assert "0.75 (−795 to 796)" in text and "3560.62 (3559 to 3563)" in text
    with open_reader(settings_of("emulated").store) as reader:
        found = bench(reader, reader.modules()[0], NOW)
    by_name = {one.name: one for one in found.channels}
    trend = by_name["supply_in"].value
    assert 220 < trend < 232 and f"{trend:.2f} V" in text
    assert by_name["rail"].code is None and "module's own supply" in text


def test_who_vouches_for_what(settings_of, view):
    shown = page.page(settings_of("emulated"), replace(view, now=NOW), "")
    rows = [said(row) for row in find(shown, lambda one: type(one).__name__ == "Tr")]
    pressure = next(row for row in rows if "circuit pressure" in row)
    # 400 days ago, due after 365; 2900 ppm, 0.35 codes; 15754/16384.
    assert "gauge 7" in pressure and "35 days overdue" in pressure
    assert "u 0.29 %, 0.3 codes" in pressure or "u 0.29 %, 0.4 codes" in pressure
    assert "× 0.9615, 12 codes" in pressure
    assert "zero check only" in next(row for row in rows if "oxygen" in row)
    assert "nobody vouches" in next(row for row in rows if "mains tap" in row)


def test_link_memory_and_starts_are_said(settings_of, view):
    text = said(page.page(settings_of("emulated"), replace(view, now=NOW), ""))
    for part in ("ring 12.5 % full of 8 kB", "longest step 2.5 ms", "free memory 40 kB", "erased 19 times",
                 "300 frames sent, 7 again; 1 bad", "2 records lost", "watchdog, 95 s without power",
                 "4 starts in all"):  # fmt: skip
        assert part in text, part


def test_every_word_is_of_the_catalogue_in_both_languages(settings_of, marked, tmp_path):
    with answering(tmp_path / "rig", board()):
        shown = page.page(settings_of("emulated", rig=tmp_path / "rig"), replace(marked, now=NOW), "")
    assert len(list(spoken(shown))) > 50
    assert strangers(spoken(shown)) == []
    assert french_bench.BENCH.keys() == english_bench.BENCH.keys()
    assert {f"bench.fault.{name}" for name in FAULTS} <= english_bench.BENCH.keys()


def test_the_clock_model_is_drawn_over_time(view, marked):
    fits = [(START + n * 3_600_000, residual, n == 2) for n, residual in enumerate((0, 12, -40))]
    look = Look(words=marked.words, zone=marked.zone, theme="dim", width=360, narrow=True)
    figure = residual_figure(fits, look)
    assert figure["data"][0]["y"] == [0, 12, -40] and figure["data"][0]["marker"]["symbol"][2] == "x"
    low, high = figure["layout"]["yaxis2"]["range"]
    assert low <= -40 and high >= 40
    assert strangers(drawn(figure)) == []


def test_a_real_module_has_no_fault_buttons_and_none_is_played(settings_of, view, tmp_path):
    """The board would answer, and even so nothing reaches it."""
    with answering(tmp_path / "rig", board()) as asked:
        real = settings_of("real", rig=tmp_path / "rig")
        shown = page.page(real, replace(view, now=NOW), "")
        assert "no fault is ever played" in said(shown)
        assert not list(find(shown, lambda one: type(one).__name__ == "Button"))
        assert "Not played" in page.played(real, view, "", "mains_fails", "AB")
        assert asked == []


@pytest.mark.parametrize(("answer", "why"), [
    (board(module=5), "bench.other_rig"), (board(emulated=False), "bench.other_rig")])  # fmt: skip
def test_another_board_is_not_this_bed(settings_of, stores, tmp_path, answer, why):
    with answering(tmp_path / "rig", answer), reading(stores["emulated"]) as reader:
        assert rig_of(settings_of("emulated", rig=tmp_path / "rig"), reader.modules()[0]) == Rig(why=why)


def test_without_a_board_the_page_says_how(settings_of, view, tmp_path):
    assert "--control" in said(page.page(settings_of("emulated"), replace(view, now=NOW), ""))
    gone = settings_of("emulated", rig=tmp_path / "nobody")
    assert "does not answer" in said(page.page(gone, replace(view, now=NOW), ""))


def test_a_fault_is_written_down_and_then_played(settings_of, stores, view, tmp_path):
    here = settings_of("emulated", rig=tmp_path / "rig")
    beside = f"{stores['emulated']}.sock"
    with answering(tmp_path / "rig", board()) as rig, answering(beside, daemon()) as told:
        assert "Write your initials" in page.played(here, view, "", "mains_fails", " ")
        assert "Not played" in page.played(here, view, "", "fire", "AB")
        assert not [one for one in rig if one["do"] == "fault"]
        assert "at 214.0 s" in page.played(here, view, "", "mains_fails", "AB")
    assert [one for one in rig if one["do"] == "fault"] == [
        {"do": "fault", "fault": "mains_fails", "by": "AB"}]
    mark = next(one for one in told if one["do"] == "add_mark")
    assert (mark["kind"], mark["author"], mark["text"]) == (benching.KIND, "AB", "mains_fails")


def test_a_module_that_is_real_on_the_link_now_is_left_alone(settings_of, stores, view, tmp_path):
    """The store knows an emulated one; since then somebody plugged a real one of the same number in."""
    here = settings_of("emulated", rig=tmp_path / "rig")
    link = daemon(emulated=False)
    with answering(tmp_path / "rig", board()) as rig, answering(f"{stores['emulated']}.sock", link):
        assert "Not played" in page.played(here, view, "", "mains_fails", "AB")
    assert not [one for one in rig if one["do"] == "fault"]
