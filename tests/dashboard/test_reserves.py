"""Reserves on the pages: picture, words, entries and their refusals, through the real server's routes."""

import json
from dataclasses import replace

import pytest

from dashboard import ids
from dashboard.app import create_app, filled
from dashboard.figures.cascade import cascade_figure
from dashboard.links import Place, address
from dashboard.pages import now, reserves
from dashboard.queries import reading
from dashboard.reserve_words import details
from dashboard.settings import Settings
from dashboard.texts import CATALOGUES, Words
from ingest.analysis.reserves.battery import ProvenBound
from ingest.analysis.reserves.cascade import CylinderReserve, cascade
from ingest.analysis.reserves.cylinder import SIZES, cylinder_content, gas_demand
from ingest.analysis.reserves.entries import KIND
from ingest.store.reader import HostCommand, tables
from tests.dashboard.conftest import HOURS, START, drawn, find, said, spoken
from tests.dashboard.test_texts import strangers
from tests.support.night_store import write_night

MINUTE = 60_000
END = START + HOURS * 3_600_000


@pytest.fixture
def mine(tmp_path):
    """A short night of this test's own, into which it may write."""
    path = write_night(tmp_path / "night.db", START, 0.1)
    return Settings(store=path, clock=lambda: START + 6 * MINUTE + 2000)


@pytest.fixture
def my_view(mine, view):
    return replace(view, now=mine.clock())


def battery(minutes=14.9, *, proven=True):
    return ProvenBound(
        minutes_low=minutes, proven=proven, test_age_days=10.0, recharge_fraction=1.0, ageing_fraction=1.0,
        load_factor=1.0, unknown=(),
    )  # fmt: skip


def laid_out(bound, gauge=137.0, bag=START):
    demand = gas_demand(minute_volume_l_min=3.0, bleed_l_min=0.0, added_oxygen_l_min=2.0)
    content = cylinder_content(SIZES["UK D"], gauge)
    reserve = CylinderReserve(content=content, demand=demand)
    return cascade(now_ms=START, battery=bound, cylinder=reserve, bag_seen_ms=bag)


def look(view, width=1000):
    from dashboard.figures.frame import Look

    return Look(words=view.words, zone=view.zone, theme="paper", width=width, narrow=True)


def rows(figure):
    """Return (row, from minute, to minute, pattern) of each bar, the axis beginning at now."""
    out = []
    for trace in figure["data"]:
        if trace["type"] == "bar":
            base, length, place = trace["base"][0], trace["x"][0], trace["y"][0]
            shape = trace["marker"].get("pattern", {}).get("shape", "")
            out.append((int(place), (base - START) / MINUTE, (base + length - START) / MINUTE, shape))
    return out


def test_the_picture_draws_lower_bounds_one_after_another(view):
    found = laid_out(battery())
    low, high = found.rungs[1].minutes_low, found.rungs[1].minutes_high
    bars = rows(cascade_figure(found, look(view)))
    end = bars[-1][2]
    assert bars[0] == (0, 0, 14, "")
    assert bars[1] == (1, 14, 14 + low, "")
    assert bars[2] == (1, 14 + low, 14 + high, "."), "what may last longer is dotted, never filled"
    assert bars[3][:2] == (2, 14 + low)
    assert end > 14 + low, "hands have their place"


def test_an_unproven_battery_is_hatched_and_its_open_end_dotted(view):
    figure = cascade_figure(laid_out(battery(proven=False)), look(view))
    assert rows(figure)[0][3] == "/"
    dotted = [one for one in figure["data"] if one["type"] == "scatter"]
    assert [one["line"]["dash"] for one in dotted] == ["dot"]
    assert dotted[0]["x"][0] == START + 14 * MINUTE


def test_without_any_reserve_only_hands_are_drawn_from_now_on(view):
    found = cascade(now_ms=START, battery=None, cylinder=None, bag_seen_ms=None)
    bars = rows(cascade_figure(found, look(view)))
    assert [(row, first, shape) for row, first, _, shape in bars] == [(2, 0, "/")]


def test_the_picture_says_minutes_first_and_nothing_of_its_own(view, marked):
    figure = cascade_figure(laid_out(battery()), look(view, 344))
    texts = [one["text"] for one in figure["layout"]["annotations"]]
    assert texts[0] == "Battery: at least 14 min, until 20:14"
    assert texts[2].startswith("Hand ventilation with room air: from ")
    assert strangers(drawn(cascade_figure(laid_out(battery()), look(marked)))) == []


def test_page_and_card_say_nothing_of_their_own(settings, marked):
    for shown in (reserves.page(settings, marked, ""), reserves.now_card(settings, marked, "")):
        assert len(list(spoken(shown))) > 8
        assert strangers(spoken(shown)) == []


def test_nothing_entered_promises_nothing(settings, view):
    text = said(reserves.page(settings, view, ""))
    assert "At least 0 min until only hands and room air are left" in text
    assert "Cylinder: at least 0 min, until 04:00" in text
    assert "never proven by a discharge" in text
    assert "nobody has said that a self-inflating bag is at the bed" in text
    for word in ("all clear", "normal", "OK", "fine", "safe"):
        assert word not in text


GOOD = {
    "author": "AB", "size": "UK D", "water": "", "gauge": "1987", "unit": "psi", "oxygen": "2", "volume": "5",
    "bleed": "1", "bag_time": "",
    "mix_volume": "6", "reservoir": "0.9", "agent": "isoflurane", "level": "1.5", "filling": "100",
    "carrier": "draw_over", "carrier_flow": "6",
    "capacity": "100", "hours": "20", "chemistry": "flooded", "current": "20",
}  # fmt: skip


def test_entries_are_marks_and_the_page_lives_on_them(mine, my_view):
    for what in ("cylinder", "flow", "bag"):
        assert reserves.saved(mine, my_view, "", what, GOOD) == (True, "Entered.")
    with reading(mine.store) as reader:
        marks = reader.marks(kind=KIND)
    assert [one.data["what"] for one in marks] == ["cylinder", "flow", "bag"]
    assert marks[0].data["gauge_bar"] == pytest.approx(137.0, abs=0.01)  # 1 psi = 0.0689476 bar (definition)
    assert marks[0].author == "AB"
    text = said(reserves.page(mine, my_view, ""))
    # UK D at 137 bar with 8 L/min: tests of the analysis hold the figure; here: it comes through.
    assert "Cylinder: at least 32 min, until 20:38" in text
    assert "self-inflating bag at the bed, seen at 20:06" in text
    assert "97 min longer: hand ventilation in place of the drive gas (2 L/min)" in text
    assert "ideal 283 L, real gas 306 L, factor rule 306 L" in text
    card = said(now.page(mine, my_view, ""))
    assert "Cylinder: at least 32 min, until 20:38 137 bar, read at 20:06" in card


@pytest.mark.parametrize(("result", "age_ms", "sentence"), [
    ("done", 0, "counts this cylinder down itself and alarms below 30 min"),
    ("unknown_command", 0, "refused this entry (command not known)"), (None, 0, "has not been told"),
    ("done", -1, "has not been told"), (0, None, "has not been told")])  # fmt: skip
def test_the_page_says_whether_the_module_counts(mine, my_view, result, age_ms, sentence):
    for what in ("cylinder", "flow"):
        assert reserves.saved(mine, my_view, "", what, GOOD)[0]
    _, found, never = reserves.stand(mine, my_view, "")
    assert never is None
    told = None if age_ms is None else HostCommand(
        id=1, boot=1, command_seq=1, utc=my_view.now + age_ms, command=20, body=b"", operator="AB", reason="",
        from_page=False, answered=None, result=result and tables.COMMAND_RESULTS.index(result), detail=0,
        answer="",
    )  # fmt: skip
    assert sentence in said(details(found, my_view, told))


def test_mixture_and_agent_are_reckoned_from_entries_and_the_module(mine, my_view):
    text = said(reserves.page(mine, my_view, ""))
    assert "Missing: minute volume and reservoir tube are not entered, the flow is not entered" in text
    assert "Missing: agent, dial and filling are not entered" in text
    for what in ("flow", "mixture", "agent"):
        assert reserves.saved(mine, my_view, "", what, GOOD) == (True, "Entered.")
    text = said(reserves.page(mine, my_view, ""))
    with reading(mine.store) as reader:
        purity = reader.latest(reader.modules()[0].id).readings["oxygen"]
    # [0.21 (MV - Q) + p Q]/MV, published; MV 6, Q 2, and the purity that the module measured.
    assert f"{21 * 4 / 6 + purity * 2 / 6:.0f} % with a reservoir tube that is long enough" in text
    assert "a reservoir that holds the oxygen of expiration. Seen: 12 breaths a minute" in text
    # 1.5 % isoflurane at MV 6: 27.7 mL/h, so 100 mL last 3 h 36 min (worked out from the definition).
    assert "At least 3 h 36 min, until 23:42; at least 100 mL left." in text
    assert "27.7 mL/h, by the rule of thumb 27.0 mL/h" in text
    assert strangers_free(mine, my_view)


def test_a_battery_without_a_test_stands_with_its_interval(mine, my_view):
    assert reserves.saved(mine, my_view, "", "battery", GOOD) == (True, "Entered.")
    _, found, _ = reserves.stand(mine, my_view, "")
    text = said(reserves.page(mine, my_view, ""))
    # By hand: t = 20 h (C/400)^k, C 100 Ah, k 1.2 (published range); this record shows no charge yet.
    assert f"lead, flooded, 100 Ah at 20 h, 20 A: 0 to {1200 * 0.25**1.2:.0f} min by Peukert's law" in text
    assert "by Peukert's law only, no discharge proves it" in text
    assert "Peukert's law, rated form" in text, "the source is named"
    assert strangers_free(mine, my_view)
    french = replace(my_view, words=Words("fr"))
    assert "plomb, ouverte, 100 Ah en 20 h, 20 A" in said(details(found, french))


def strangers_free(settings, view):
    """Tell whether the page says nothing outside the catalogue."""
    marked = replace(view, words=Words("en", {k: f"⟦{text}⟧" for k, text in CATALOGUES["en"].items()}))
    return strangers(spoken(reserves.page(settings, marked, ""))) == []


def test_the_time_a_bag_was_seen_lies_in_the_last_day(mine, my_view):
    assert reserves.entry("bag", GOOD | {"bag_time": "20:03"}, my_view)[0] == START + 3 * MINUTE
    later = reserves.entry("bag", GOOD | {"bag_time": "20:30"}, my_view)[0]
    assert later == START + 30 * MINUTE - 86_400_000, "a time still to come was yesterday"
    assert not reserves.saved(mine, my_view, "", "bag", GOOD | {"bag_time": "25:00"})[0]


@pytest.mark.parametrize(
    ("what", "odd", "sentence"),
    [
        ("cylinder", {"gauge": "4000", "unit": "bar"}, "4000 bar is outside 0 to 300 bar"),
        ("cylinder", {"size": "XXL"}, "'XXL' is not known"),
        ("cylinder", {"size": reserves.OTHER, "water": "900"}, "900 L is outside 0.2 to 80 L"),
        ("cylinder", {"size": ""}, "is not known"),
        ("cylinder", {"unit": ""}, "use one of bar, psi, kPa"),
        ("cylinder", {"gauge": "<b>"}, "is not a number"),
        ("flow", {"oxygen": "-2"}, "-2 L/min is negative"),
        ("flow", {"volume": "1000"}, "outside"),
        ("mixture", {"mix_volume": "0"}, "outside 0.1 to 40 L/min"),
        ("agent", {"agent": "ether"}, "not known; use one of halothane, isoflurane, sevoflurane"),
        ("agent", {"level": "15"}, "outside 0 to 10 %"),
        ("agent", {"filling": "-5"}, "is negative"),
        ("agent", {"carrier": ""}, "use one of draw_over, fresh_gas"),
        ("battery", {"capacity": "-7"}, "-7 Ah is negative"),
        ("battery", {"hours": "4000"}, "outside 0.5 to 100 h"),
        ("battery", {"chemistry": ""}, "is not known; use one of agm, gel, flooded"),
        ("bag", {"author": " "}, "Write your initials"),
    ],
)
def test_nonsense_is_refused_and_nothing_is_written(mine, my_view, what, odd, sentence):
    done, answer = reserves.saved(mine, my_view, "", what, GOOD | odd)
    assert not done
    assert sentence in answer
    with reading(mine.store) as reader:
        assert reader.marks(kind=KIND) == []


def test_a_refusal_comes_in_the_readers_language(mine, my_view):
    french = replace(my_view, words=Words("fr"))
    _, answer = reserves.saved(mine, french, "", "flow", GOOD | {"oxygen": "-2"})
    assert "est négatif" in answer


def test_every_field_has_a_label_and_a_unit_or_a_form(settings, view):
    page = reserves.page(settings, view, "")
    labelled = {one.htmlFor for one in find(page, lambda c: hasattr(c, "htmlFor"))}
    inputs = {one.id for one in find(page, lambda c: type(c).__name__ == "Input")}
    assert inputs == labelled
    assert len(inputs) == 15


def test_the_route_fills_and_an_entry_goes_through_the_server(mine):
    client = create_app(mine).server.test_client()
    assert client.get("/reserves").status_code == 200
    names = [{"id": f"{ids.RESERVES_FIELD}-{one}", "property": "value", "value": GOOD[one]}
             for one in reserves.NAMES]  # fmt: skip
    pressed = {"kind": ids.RESERVES_SAVE, "what": "cylinder"}
    clicks = [{"id": pressed, "property": "n_clicks", "value": 1}]
    body = {
        "output": f"..{ids.RESERVES_STATUS}.children...{ids.RESERVES_SAVED}.data..",
        "outputs": [{"id": ids.RESERVES_STATUS, "property": "children"},
                    {"id": ids.RESERVES_SAVED, "property": "data"}],
        "inputs": [clicks],
        "changedPropIds": [json.dumps(pressed, separators=(",", ":")) + ".n_clicks"],
        "state": [{"id": ids.URL, "property": "search", "value": ""},
                  {"id": ids.RESERVES_SAVED, "property": "data", "value": 0}, *names],
    }  # fmt: skip
    answer = client.post("/_dash-update-component", json=body)
    assert answer.status_code == 200, answer.data
    told = answer.get_json()["response"]
    assert told[ids.RESERVES_STATUS]["children"] == "Entered."
    assert told[ids.RESERVES_SAVED]["data"] == 1


def test_the_address_shows_the_page_and_the_banner(settings, view):
    body, marked_as = filled(settings, view, "/reserves", address("/", Place())[1:])
    assert "If the mains fails now" in said(body)
    assert "SIMULATED" in said(marked_as)
