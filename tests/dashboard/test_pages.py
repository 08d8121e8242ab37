"""What the pages say: never all clear, never normal when undetermined, never fresh when old."""

from dataclasses import replace

import pytest

from dashboard.app import banner, filled
from dashboard.links import Place, address, parse
from dashboard.pages import controls, night, now, stations
from dashboard.pages.stations import direction
from dashboard.queries import choose_module, now_frame, reading
from dashboard.settings import Settings
from ingest.store.writer import Writer
from tests.dashboard.conftest import HOURS, START, find, said
from tests.support.night_store import APART, MODULE, write_night

END = START + HOURS * 3_600_000


@pytest.fixture
def frame(store, view):
    with reading(store) as reader:
        return now_frame(reader, choose_module(reader, None), view.now, 12 * 3_600_000)


def test_now_begins_with_what_went_unrecorded_and_what_is_not_measured(frame, view):
    text = said(now.head(frame, view))
    assert text.startswith("12 min of the last 8 h 00 min went unrecorded. Not measured: inspired oxygen")
    assert "Watch the patient." in text.split("Preset")[0]


def test_preset_and_mode_are_always_there(frame, view):
    for preset in ("adult", "child", "infant"):
        text = said(now.head(replace(frame, preset=preset), view))
        assert f"Preset {preset.capitalize()} Mode Ventilator" in text


@pytest.mark.parametrize(
    ("mode", "preset", "told"),
    [("spontaneous", "infant", True), ("spontaneous", "child", True), ("spontaneous", "adult", False),
     ("ventilator", "infant", False), ("hand", "child", False)],
)  # fmt: skip
def test_small_patients_who_breathe_alone_are_said_not_to_be_seen(frame, view, mode, preset, told):
    """Measured: the module misses about half of a child's pulls and all of an infant's (breathing.md)."""
    small = replace(frame, mode=mode, preset=preset)
    assert ("An infant who breathes alone is not seen here" in said(stations.breathing(small, view))) == told


def test_nothing_standing_is_no_all_clear(frame, view):
    text = said(now.head(replace(frame, standing=[]), view))
    assert "No alarm condition stands. That proves nothing: watch the patient." in text
    for word in ("all clear", "normal", "OK", "fine", "safe"):
        assert word not in text


@pytest.mark.parametrize(
    ("state", "text"),
    [
        ("undetermined", "battery support not proven"),
        ("bypass", "no battery stands behind the output"),
        ("dead", "No voltage after the UPS"),
        ("stored_energy", "On battery. How long the battery lasts is not proven."),
    ],
)
def test_supply_states_in_words(frame, view, state, text):
    assert text in said(stations.supply(replace(frame, supply_state=state), view))


def test_battery_minutes_are_a_lower_bound_and_only_when_proven(frame, view):
    known = replace(frame, readings=frame.readings | {"battery": 899.0}, supply_state="stored_energy")
    assert "not proven" in said(stations.supply(known, view))
    proven = replace(known, flags=frame.flags | {"battery_proven"})
    assert "At least 14 min of battery." in said(stations.supply(proven, view))


@pytest.mark.parametrize("condition", ["open", "short", "stuck", "saturated"])
def test_a_blind_sensor_shows_no_number(frame, view, condition):
    blind = replace(frame, conditions=frame.conditions | {"oxygen": condition})
    values = find(stations.oxygen(blind, view), lambda c: getattr(c, "className", "") == "value")
    assert [one.children for one in values] == ["—"]


@pytest.mark.parametrize("state", ["not_current", "implausible", "fault"])
def test_an_oxygen_reading_that_means_nothing_is_struck_out(frame, view, state):
    shown = stations.oxygen(replace(frame, oxygen_state=state), view)
    assert list(find(shown, lambda c: "doubtful" in getattr(c, "className", "")))
    current = stations.oxygen(frame, view)
    assert not list(find(current, lambda c: "doubtful" in getattr(c, "className", "")))


def test_purity_is_never_called_inspired(frame, view):
    assert "not what is breathed in" in said(stations.oxygen(frame, view))


def test_no_breath_says_so_and_shows_no_number(frame, view):
    text = said(stations.breathing(replace(frame, breath=None), view))
    assert "No breath seen in the last minute." in text
    assert "—" in text


def test_every_reading_carries_its_age_for_the_browsers_timer(frame, view):
    aged = list(find(now.way(frame, view), lambda c: hasattr(c, "data-since")))
    assert len(aged) >= 4
    assert all("{age}" in getattr(one, "data-text") for one in aged)


@pytest.mark.parametrize(
    ("change", "quantity", "word"),
    [
        (None, "oxygen", None),
        (0.2, "oxygen", "steady"),
        (-0.8, "oxygen", "falling"),
        (3.1, "supply_in", "rising"),
    ],
)
def test_direction(change, quantity, word):
    assert direction(change, quantity) == word


def test_a_standing_alarm_says_priority_since_when_and_the_sound(store, view):
    at = START + round((APART[0] + 0.4) * 60_000)
    with reading(store) as reader:
        module = choose_module(reader, None)
        frame = now_frame(reader, module, view.now, 3_600_000)
        from dashboard.queries import alarm_of

        frame = replace(frame, standing=[alarm_of(one) for one in reader.alarms(module.id, at, at + 1000)])
    text = said(now.head(frame, view))
    assert "High Circuit apart or no pressure since 01:30:10" in text
    assert "0.2 against a limit of 10.0 cmH2O" in text
    assert "Sound is on." in text
    paused = replace(frame, flags=frame.flags | {"audio_paused"}, pause_left=41)
    assert "Sound paused, 41 s left." in said(now.head(paused, view))


def test_controls_are_closed_until_the_module_opens_them(view):
    for is_open in (False, True):
        shown = controls.layout(is_open, view)
        assert [one.disabled for one in find(shown, lambda c: hasattr(c, "disabled"))] == [not is_open]


def test_without_a_daemon_a_command_says_so(settings, view):
    assert controls.send(settings, view, "", "pause_audio").startswith("Not sent: No daemon answers")


def test_emulated_data_are_marked_and_real_ones_are_not(settings, view, tmp_path):
    assert "SIMULATED" in said(banner(settings, "/", "", view))
    path = write_night(tmp_path / "real.db", START, 0.01, emulated=False)
    assert said(banner(Settings(store=path), "/", "", view)) == ""


def test_an_empty_store_is_said(tmp_path, view):
    Writer(tmp_path / "empty.db", 0).close()
    for page in ("/", "/night"):
        body, marked = filled(Settings(store=tmp_path / "empty.db", clock=lambda: START), view, page, "")
        assert "Nothing recorded yet" in said(body)
        assert marked == []


def test_a_store_that_vanished_is_said(tmp_path, view):
    body, _ = filled(Settings(store=tmp_path / "gone.db"), view, "/", "")
    assert "The store can't be read" in said(body)


def test_several_beds_can_be_chosen(tmp_path, view):
    path = tmp_path / "two.db"
    for module in (1, 2):
        write_night(path, START + module * 1000, 0.01, module=module)
    shown = banner(Settings(store=path), "/night", "module=00000001", view)
    links = [one.href for one in find(shown, lambda c: hasattr(c, "href"))]
    assert links == [address("/night", Place(module=m)) for m in (1, 2)]


def test_night_begins_with_what_went_unrecorded(settings, view):
    _, _, head, _, _ = night.answer(settings, view, address("", Place(window=(START, END))))
    assert "12 min of this window went unrecorded. Not measured:" in said(head)


def test_the_alarm_list_leads_to_the_place(settings, view):
    *_, listed = night.answer(settings, view, address("", Place(window=(START, END))))
    text = said(listed)
    assert "High Circuit apart or no pressure 28 s 0.2 against a limit of 10.0 cmH2O" in text
    links = {one.title: one.href.partition("?")[2] for one in find(listed, lambda c: hasattr(c, "href"))}
    window = parse(links["Show Circuit apart or no pressure at 01:30:10"]).window
    assert window[0] < START + APART[0] * 60_000 < START + APART[1] * 60_000 < window[1]
    assert window[1] - window[0] < 300_000


def test_moves_stay_inside_the_night_they_belong_to(settings, view):
    _, _, head, listed, _ = night.answer(settings, view, address("", Place(window=(END - 60_000, END))))
    hrefs = [one.href for one in find(head, lambda c: hasattr(c, "href"))]
    links = [parse(href.partition("?")[2]) for href in hrefs if "?" in href]
    assert hrefs[-1] == "#night-words"
    assert links[0].window is None
    assert {one.module for one in links} == {MODULE}
    widths = [one.window[1] - one.window[0] for one in links[1:]]
    assert widths == [60_000, 60_000, 20_000, 180_000]
    assert len(list(find(listed, lambda c: getattr(c, "className", "") == "chosen"))) == 1
