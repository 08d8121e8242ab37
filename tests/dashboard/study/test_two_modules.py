"""Two modules of one store that saw the same supply: their events matched, their figures side by side."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from dashboard.pages import supply
from dashboard.reports.study_ask import ask
from dashboard.reports.study_data import site_of
from dashboard.reports.study_report import case_of, matched, summary_of
from dashboard.supply_queries import supply_frame
from dashboard.texts import Words
from dashboard.view import View
from ingest.store.reader import open_reader
from tests.dashboard.conftest import find, said
from tests.support.night_store import MODULE
from tests.support.supply_store import HOURS, START, write_supply

OTHER = MODULE + 1
END = START + HOURS * 3_600_000


@pytest.fixture(scope="module")
def reader(tmp_path_factory):
    path = tmp_path_factory.mktemp("two") / "two.db"
    write_supply(path)
    write_supply(path, module=OTHER)
    with open_reader(path) as reader:
        yield reader


def test_the_events_of_both_are_matched(reader, tmp_path):
    asked = ask(
        reader, tmp_path / "two.db", Words(), None, None, None, f"{MODULE:08x}", "UTC", tmp_path / "out"
    )
    assert [one.id for one in asked.others] == [OTHER]
    first, second = (
        case_of(site_of(reader, one, asked.start, asked.end, zone=UTC))
        for one in (asked.module, *asked.others)
    )
    pairs = matched(first, [second])
    ((a, b, found),) = pairs
    assert (a, b) == (f"{MODULE:08x}", f"{OTHER:08x}")
    # Two dips, a swell, an interruption and the dip that carries it.
    assert sorted(one.kind for one, _ in found.pairs) == ["dip", "dip", "dip", "interruption", "swell"]
    assert not (found.only_first or found.only_second or found.unknown)
    summary = summary_of(first, pairs, Words(), datetime(2026, 3, 2, tzinfo=UTC))
    assert summary["matched"] == [
        {"modules": [a, b], "pairs": 5, "only_first": 0, "only_second": 0, "unknown": 0, "offset_s": 0.0}
    ]


def test_the_page_shows_both_beside_each_other(reader):
    view = View(words=Words(), zone=ZoneInfo("UTC"), theme="paper", width=1280, now=END)
    module, other = reader.modules()
    (choice,) = find(supply.compare([other], view), lambda c: hasattr(c, "options"))
    assert choice.options[-1] == {"label": f"module {OTHER:08x}", "value": f"{OTHER:08x}"}
    frame = supply_frame(reader, module, START, END, view.zone)
    beside = supply.compared(reader, module, START, END, f"{OTHER:08x}", view)
    assert beside.module.id == OTHER
    assert len(beside.events) == 5
    assert supply.compared(reader, module, START, END, "none", view) is None
    text = said(supply.glance(frame, beside, view))
    assert "this" in text
    assert text.count("87.5 %") == 2
