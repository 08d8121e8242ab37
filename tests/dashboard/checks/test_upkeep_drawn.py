"""The log stands on the same time axis as the trends, at the very moment it was written for."""

from dashboard.figures.frame import Look
from dashboard.figures.night import night_figure
from dashboard.queries import choose_module, night_frame, reading
from dashboard.texts import Words
from dashboard.view import zone_of
from ingest.store.annotations import open_annotations
from tests.support.night_store import MODULE, write_night

START = 1_772_308_800_000


def drawn(store, start, end, language="en"):
    with reading(store) as reader:
        frame = night_frame(reader, choose_module(reader, None), start, end, 400)
    look = Look(words=Words(language), zone=zone_of("UTC"), theme="paper", width=1200, narrow=False)
    figure = night_figure(frame, look)
    found = [one for one in figure["data"] if one.get("name") == Words(language)("figure.upkeep")]
    return figure, found


def test_an_entry_is_drawn_at_its_time_and_nowhere_else(tmp_path):
    store = write_night(tmp_path / "night.db", START, 0.5)
    end = START + 1_800_000
    assert drawn(store, START, end)[1] == []
    at = START + 600_000
    with open_annotations(store, at) as notes:
        notes.add(module=MODULE, utc=at, kind="upkeep", author="AB", text="", now=at,
                  data={"part": "filter", "deed": "cleaned"})  # fmt: skip
    figure, (lane,) = drawn(store, START, end)
    assert (lane["x"], lane["text"]) == ([at], ["Filter cleaned"])
    assert lane["xaxis"] == "x"
    assert figure["layout"]["yaxis10"]["domain"][0] >= 0
    assert drawn(store, START, end, "fr")[1][0]["text"] == ["Filtre nettoyé"]
    assert drawn(store, at + 1, end)[1] == []
