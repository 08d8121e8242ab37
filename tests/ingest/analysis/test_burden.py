"""Alarm burden: published rates, floods and chatter at their edges, response and silence."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.analysis.burden import (
    REFERENCES,
    Episode,
    alarm_burden,
    chatter,
    floods,
    removed_by_delay,
)

HOUR = 3_600_000


def _at(*starts_s: float, length_s: float = 5.0, condition: str = "purity_low") -> list[Episode]:
    return [
        Episode(
            condition=condition, priority="medium", start_ms=round(1000 * s),
            end_ms=round(1000 * (s + length_s)),
        )
        for s in starts_s
    ]  # fmt: skip


def test_the_published_rate_is_reproduced() -> None:
    # 1214 alarms in 200 h = 6.07/h: Görges et al., Anesth Analg 2009;108:1546 (P).
    starts = np.linspace(0, 200 * 3600 - 10, 1214)
    load = alarm_burden(_at(*starts), start_ms=0, end_ms=200 * HOUR)
    assert load.per_hour == pytest.approx(6.07, abs=0.005)
    assert load.against(REFERENCES[0]) == pytest.approx(1.0)


def test_references_keep_operators_and_beds_apart() -> None:
    # 187 a bed a day: Drew et al., PLOS ONE 2014;9:e110274 (P). 150 and 300: ISA-18.2, an operator (Q).
    assert [(r.per_day, r.about_a_bed) for r in REFERENCES] == [
        (pytest.approx(145.68), True), (187.0, True), (150.0, False), (300.0, False)
    ]  # fmt: skip


def test_rates_count_monitored_time_only() -> None:
    load = alarm_burden(_at(1, 2, 3), start_ms=0, end_ms=4 * HOUR, unmonitored=[(HOUR, 4 * HOUR)])
    assert load.watched_h == 1.0 and load.per_hour == 3.0
    dark = alarm_burden([], start_ms=0, end_ms=HOUR, unmonitored=[(0, HOUR)])
    assert dark.per_hour is None and dark.per_day is None and dark.longest_quiet is None


def test_a_flood_is_more_than_ten_in_ten_minutes() -> None:
    # More than 10 in 10 min: ISA-18.2, EEMUA 191 (Q).
    assert floods(_at(*range(0, 600, 60))) == ()  # ten
    (flood,) = floods(_at(*np.linspace(0, 599.999, 11)))
    assert flood.activations == 11
    assert floods(_at(*np.linspace(0, 600, 11))) == ()  # eleven, but over a full ten minutes
    (joined,) = floods(_at(*range(0, 1200, 30)))
    assert (joined.start_ms, joined.end_ms, joined.activations) == (0, 1_170_000, 40)


def test_chatter_is_three_of_one_condition_in_a_minute() -> None:
    # 3 or more activations of one alarm in 1 min: ISA-18.2, EEMUA 191 (Q).
    (found,) = chatter(_at(0, 20, 59.999))
    assert (found.activations, found.condition) == (3, "purity_low")
    assert chatter(_at(0, 30, 60)) == ()
    assert chatter(_at(0, 20) + _at(40, condition="rate_high")) == ()


@given(st.lists(st.integers(0, 3_000), max_size=40))
def test_floods_agree_with_a_plain_count(seconds: list[int]) -> None:
    crowded = any(sum(s <= other < s + 600 for other in seconds) > 10 for s in seconds)
    assert bool(floods(_at(*seconds))) is crowded


def test_response_and_those_that_ended_by_themselves() -> None:
    episodes = [
        *_at(0, length_s=30),  # pressed after 12 s
        *_at(100, length_s=10),  # nobody pressed
        *_at(200, length_s=10),  # pressed 1 s after it ended
        Episode(condition="apart", priority="high", start_ms=300_000),  # stands, pressed after 4 s
        Episode(condition="apart", priority="high", start_ms=400_000),  # stands, nobody pressed yet
    ]
    load = alarm_burden(
        episodes, start_ms=0, end_ms=500_000, responses_ms=[12_000, 211_000, 304_000]
    )
    assert (load.responses, load.response_median_s) == (2, 8.0)
    assert load.ended_by_itself_share == 0.5
    by_name = {row.condition: row for row in load.by_condition}
    assert by_name["purity_low"].activations == 3 and by_name["purity_low"].ended_by_itself == 2
    assert by_name["purity_low"].median_s == 10.0 and by_name["purity_low"].standing_s == 50.0
    assert by_name["apart"].standing_s == 200.0 and by_name["apart"].median_s is None


def test_quiet_and_muted_stretches() -> None:
    episodes = _at(100, length_s=200) + _at(900, length_s=10) + _at(-50, length_s=70)
    load = alarm_burden(
        episodes, start_ms=0, end_ms=1_000_000, unmonitored=[(400_000, 500_000)],
        muted=[(150_000, 270_000), (600_000, 720_000)],
    )  # fmt: skip
    assert load.longest_quiet == (500_000, 900_000)
    assert load.longest_muted == (150_000, 270_000)  # the second pause had nothing to silence
    assert load.activations == 2


def test_a_delay_removes_what_the_paper_says() -> None:
    # 14 s removes 50 %, 19 s removes 67 % of ignored and ineffective alarms: Görges et al. 2009 (P). Lengths
    # drawn to those quantiles must fall accordingly.
    rng = np.random.default_rng(1)
    rank = rng.uniform(size=20_000)
    lengths = np.interp(rank, [0.0, 0.50, 0.67, 1.0], [0.0, 14.0, 19.0, 120.0])
    assert removed_by_delay(list(lengths), 14.0) == pytest.approx(0.50, abs=0.01)
    assert removed_by_delay(list(lengths), 19.0) == pytest.approx(0.67, abs=0.01)
    assert removed_by_delay([], 14.0) == 0.0


def test_stale_is_more_than_a_day() -> None:
    # Standing > 24 h: ISA-18.2 (Q).
    day = 24 * 3600
    load = alarm_burden(_at(0, length_s=day) + _at(1, length_s=day + 1), start_ms=0, end_ms=3 * day * 1000)
    assert load.stale == 1
