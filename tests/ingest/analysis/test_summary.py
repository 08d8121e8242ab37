"""The morning summary: order, honesty, every phrase of the table reachable, spans true."""

import math

import numpy as np
import pytest

from ingest.analysis.breathing.model import Finding
from ingest.analysis.breathing.trends import Quiet
from ingest.analysis.burden import Episode, alarm_burden
from ingest.analysis.notes import Note
from ingest.analysis.summary import (
    NOT_MEASURED,
    PHRASES,
    EarlierNight,
    NightFacts,
    Outage,
    morning_summary,
)

HOUR, MIN = 3_600_000, 60_000
NIGHT = 12 * HOUR


def _burden(count: int = 14, unmonitored=((HOUR, HOUR + 12 * MIN),), muted=()):
    starts = [2 * HOUR + round(i * 40 * MIN) for i in range(count)]
    episodes = [
        Episode(condition="purity_low", priority="medium", start_ms=s, end_ms=s + MIN) for s in starts
    ]
    return alarm_burden(episodes, start_ms=0, end_ms=NIGHT, unmonitored=unmonitored, muted=muted)


def _full() -> NightFacts:
    apart = Finding(
        key="finding.apart", start_ms=5 * HOUR, end_ms=5 * HOUR + 35_000, confidence=0.9,
        after="finding.leak", evidence={"before_min": 2.0},
    )  # fmt: skip
    leak = Finding(
        key="finding.leak", start_ms=4 * HOUR, end_ms=5 * HOUR, confidence=0.8, evidence={}, inference=True
    )
    return NightFacts(
        start_ms=0, end_ms=NIGHT, unmonitored=[(HOUR, HOUR + 12 * MIN)],
        burden=_burden(muted=[(2 * HOUR, 2 * HOUR + 2 * MIN)]),
        high_alarms=2, standing_alarms=1,
        outages=[
            Outage(start_ms=0, end_ms=22 * MIN, carried=True),
            Outage(start_ms=3 * HOUR, end_ms=3 * HOUR + MIN, carried=False),
            Outage(start_ms=6 * HOUR, end_ms=6 * HOUR + MIN, carried=None),
        ],
        output_lost=[(3 * HOUR, 3 * HOUR + MIN)], bypass=[(7 * HOUR, 8 * HOUR)],
        undetermined=[(9 * HOUR, 10 * HOUR)],
        purity_low=[(2 * HOUR + 10 * MIN, 2 * HOUR + 50 * MIN)], purity_lowest_percent=78.5,
        purity_not_current=[(0, MIN)], source_stopped=[(0, MIN)], probably_cylinder=[(0, MIN)],
        findings=[apart, leak], quiet=Quiet(start_ms=5 * HOUR, end_ms=5 * HOUR + 36_000), breaths=9000,
        notes=[Note(key="note.taps_swapped", start_ms=HOUR, end_ms=HOUR + MIN, evidence={})],
        marks_ms=[HOUR, 2 * HOUR], due=["due.battery_test"],
        earlier=[EarlierNight(alarms_per_hour=0.5, outage_min=100.0)] * 3,
    )  # fmt: skip


def _by_key(facts: NightFacts):
    return {phrase.key: phrase for phrase in morning_summary(facts)}


def test_unmonitored_time_comes_first_then_what_is_not_measured() -> None:
    phrases = morning_summary(_full())
    assert phrases[0].key == "summary.unmonitored"
    assert phrases[0].params == {"minutes": 12.0, "spans": 1}
    assert (phrases[0].start_ms, phrases[0].end_ms) == (HOUR, HOUR + 12 * MIN)
    assert phrases[1].params["what"] == NOT_MEASURED == ("inspired_oxygen", "spo2", "co2", "volume")
    assert phrases[2].key == "summary.pressure_proves_nothing"


def test_the_figures_of_the_night() -> None:
    found = _by_key(_full())
    assert found["summary.supply_failures"].params == {
        "count": 3, "longest_min": 22.0, "carried": 1, "not_carried": 1, "not_known": 1
    }  # fmt: skip
    assert found["summary.purity_low"].params == {
        "limit_percent": 85.0, "minutes": 40.0, "lowest_percent": 78.5
    }  # fmt: skip
    assert found["summary.purity_low"].start_ms == 2 * HOUR + 10 * MIN
    assert found["summary.apart"].params == {"count": 1, "longest_s": 35.0}
    assert found["summary.apart_after"].params == {"finding": "finding.leak", "minutes_before": 2.0}
    assert found["summary.alarms"].params["count"] == 14
    assert found["summary.alarms"].params["per_hour"] == pytest.approx(14 / (12 - 0.2))
    assert found["summary.inferred"].params == {"finding": "finding.leak", "count": 1}
    assert found["summary.muted"].params == {"minutes": 1.0}
    assert found["summary.more_than_usual"].params["what"] == "alarms_per_hour"
    assert found["summary.less_than_usual"].params["what"] == "outage_min"


def test_a_quiet_night_gets_no_all_clear() -> None:
    facts = NightFacts(start_ms=0, end_ms=NIGHT, unmonitored=[], burden=_burden(0, unmonitored=()))
    keys = [phrase.key for phrase in morning_summary(facts)]
    assert keys == [
        "summary.unmonitored_none", "summary.not_measured", "summary.pressure_proves_nothing",
        "summary.alarms_none", "summary.no_nights_to_compare",
    ]  # fmt: skip


def test_watched_without_a_breath_is_said() -> None:
    facts = NightFacts(
        start_ms=0, end_ms=NIGHT, unmonitored=[], burden=_burden(0), quiet=Quiet(start_ms=0, end_ms=NIGHT)
    )
    assert "summary.no_breath_seen" in _by_key(facts)


def test_every_phrase_of_the_table_can_be_said() -> None:
    said = set(_by_key(_full()))
    crowd = [Episode(condition="x", priority="high", start_ms=s * 1000, end_ms=None) for s in range(12)]
    flood = NightFacts(
        start_ms=0, end_ms=NIGHT, unmonitored=[], quiet=Quiet(start_ms=0, end_ms=1), due=["due.cell"],
        burden=alarm_burden(crowd, start_ms=0, end_ms=NIGHT),
        findings=[Finding(key="finding.cough", start_ms=0, end_ms=1, confidence=0.5, evidence={})],
    )  # fmt: skip
    said |= set(_by_key(flood))
    said |= set(_by_key(NightFacts(start_ms=0, end_ms=NIGHT, unmonitored=[], burden=_burden(0))))
    assert said == set(PHRASES)


def test_parameters_are_plain_values() -> None:
    for phrase in morning_summary(_full()):
        for value in phrase.params.values():
            assert type(value) in (int, float, str, tuple)
            assert not (isinstance(value, float) and (math.isnan(value) or np.isinf(value)))
