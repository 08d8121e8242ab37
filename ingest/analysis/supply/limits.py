"""Judge values against bands, with the missing ones as what they are: unknown.

A verdict is 'met' or 'not met' only when the missing values, whatever they were, could not change it.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ingest.analysis.supply.classify import HARMONIC_LIMITS_PERCENT, THD_LIMIT_PERCENT, Band
from ingest.analysis.supply.compiled import Floats

ROUNDING = 1e-9
Verdict = Literal["met", "not met", "not decided"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """Give a limit's result. inside_percent: of the values there are; low, high: of the whole period."""

    name: str
    verdict: Verdict
    inside_percent: float | None
    low_percent: float
    high_percent: float
    coverage_percent: float


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


def judge_periods(values: Floats, nominal: float, band: Band, interval_s: float) -> list[Judgement]:
    """Judge each whole week, or what the band asks for; a shorter record is judged as one period."""
    size = round(band.days * 86400.0 / interval_s)
    if len(values) < size:
        return [judge(values, nominal, band)]
    return [judge(values[at : at + size], nominal, band) for at in range(0, len(values) - size + 1, size)]


def judge_harmonics(percent: Floats) -> list[Judgement]:
    """Judge a week's subgroups in per cent of the fundamental, one row a value and one column an order from
    1.

    nan rows are missing values. The last judgement is of the total distortion of the orders that were
    measured.
    """
    rows = []
    for order, limit in HARMONIC_LIMITS_PERCENT.items():
        if order <= percent.shape[1]:
            band = Band(name=f"harmonic {order}", low=0.0, high=limit, part=0.95, days=7.0)
            rows.append(judge(percent[:, order - 1], 1.0, band))
    total = np.sqrt(np.square(percent[:, 1:]).sum(axis=1))
    name = f"total distortion to order {percent.shape[1]}"
    rows.append(judge(total, 1.0, Band(name=name, low=0.0, high=THD_LIMIT_PERCENT, part=0.95, days=7.0)))
    return rows
