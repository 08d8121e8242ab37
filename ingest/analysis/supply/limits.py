"""Judge values against bands, with the missing ones as what they are: unknown.

A verdict is 'met' or 'not met' only when the missing values, whatever they were, could not change it.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ingest.analysis.supply.classify import HARMONIC_LIMITS_PERCENT, THD_LIMIT_PERCENT, Band
from ingest.analysis.supply.compiled import Floats

ROUNDING = 1e-9
Verdict = Literal["met", "not met", "not decided"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """Give a limit's result. inside_percent: of the values there are; low, high: of the whole period.

    begin_s: when the period begins that was judged, None for the whole record.
    """

    name: str
    verdict: Verdict
    inside_percent: float | None
    low_percent: float
    high_percent: float
    coverage_percent: float
    begin_s: float | None = None


def judge(values: Floats, nominal: float, band: Band) -> Judgement:
    """Judge equally long values, nan where there is none, against a band."""
    level = values / nominal
    here = ~np.isnan(level)
    total, known = len(level), int(here.sum())
    inside = int(((level >= band.low - ROUNDING) & (level <= band.high + ROUNDING)).sum())
    if not total or not known:
        return Judgement(
            name=band.name, verdict="not decided", inside_percent=None, low_percent=0.0, high_percent=100.0,
            coverage_percent=0.0,
        )  # fmt: skip
    low, high = inside / total, (inside + total - known) / total
    if low >= band.part - ROUNDING:
        verdict: Verdict = "met"
    elif high < band.part - ROUNDING:
        verdict = "not met"
    else:
        verdict = "not decided"
    return Judgement(
        name=band.name, verdict=verdict, inside_percent=100.0 * inside / known, low_percent=100.0 * low,
        high_percent=100.0 * high, coverage_percent=100.0 * known / total,
    )  # fmt: skip


def judge_periods(
    values: Floats, nominal: float, band: Band, interval_s: float, begin_s: float
) -> list[Judgement]:
    """Judge each whole week, or what the band asks for; a shorter record is judged as one period.

    begin_s: when the first value's interval begins.
    """
    size = round(band.days * 86400.0 / interval_s)
    if len(values) < size:
        return [judge(values, nominal, band)]
    return [
        replace(judge(values[at : at + size], nominal, band), begin_s=begin_s + at * interval_s)
        for at in range(0, len(values) - size + 1, size)
    ]


def judge_harmonics(percent: Floats, interval_s: float, begin_s: float) -> list[Judgement]:
    """Judge each week's subgroups in per cent of the fundamental, a row a value, a column an order from 1.

    nan rows are missing values. The last judgements are of the total distortion of the orders that were
    measured.
    """
    rows: list[Judgement] = []
    for order, limit in HARMONIC_LIMITS_PERCENT.items():
        if order <= percent.shape[1]:
            band = Band(name=f"harmonic {order}", low=0.0, high=limit, part=0.95, days=7.0)
            rows += judge_periods(percent[:, order - 1], 1.0, band, interval_s, begin_s)
    total = np.sqrt(np.square(percent[:, 1:]).sum(axis=1))
    name = f"total distortion to order {percent.shape[1]}"
    band = Band(name=name, low=0.0, high=THD_LIMIT_PERCENT, part=0.95, days=7.0)
    return [*rows, *judge_periods(total, 1.0, band, interval_s, begin_s)]
