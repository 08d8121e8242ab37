"""What many simulated nights have in common: how often, with intervals that say how little is known.

What happens in one night hangs together, so the night is the unit. A share of nights has the exact interval
of Clopper and Pearson (Biometrika 1934;26:404). A mean a night comes from resampling whole nights (bootstrap,
percentiles: Efron, Ann Stat 1979;7:1); where nothing was seen, or in fewer than 20 nights, resampling says
nothing: then the exact interval of a Poisson count stands (Garwood, Biometrika 1936;28:437), which takes
events as independent and is too narrow where they cluster. Citations from memory.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

CONFIDENCE: Final = 0.95
NIGHTS_MIN: Final = 20  # common practice, no source
RESAMPLES: Final = 4000
_SEED: Final = 20_260_714

POISSON, RESAMPLED = "exact Poisson", "nights resampled"


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A value with the ends of its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """How often one thing happened: `share` of nights that had it, `per_night` its mean, by which method.

    `clustering` is variance over mean of the counts: 1 where events come independently, NaN when none came.
    """

    name: str
    total: float
    nights: int
    share: Interval
    per_night: Interval
    method: str
    clustering: float


def share(hits: int, nights: int) -> Interval:
    """Return the share of nights with its exact binomial interval."""
    found = stats.binomtest(hits, nights).proportion_ci(CONFIDENCE, method="exact")
    return Interval(value=hits / nights, low=float(found.low), high=float(found.high))


def poisson(count: int, nights: int) -> Interval:
    """Return the mean a night with the exact interval of the count."""
    tail = (1 - CONFIDENCE) / 2
    low = stats.chi2.ppf(tail, 2 * count) / 2 if count else 0.0
    high = stats.chi2.ppf(1 - tail, 2 * count + 2) / 2
    return Interval(value=count / nights, low=float(low) / nights, high=float(high) / nights)


def resampled(amounts: NDArray[np.float64]) -> Interval:
    """Return the mean of a night with its interval from whole nights drawn again; the same each time."""
    generator = np.random.default_rng(_SEED)
    means = np.empty(RESAMPLES)
    for index in range(RESAMPLES):
        means[index] = amounts[generator.integers(0, len(amounts), len(amounts))].mean()
    tail = 100 * (1 - CONFIDENCE) / 2
    low, high = np.percentile(means, [tail, 100 - tail])
    return Interval(value=float(amounts.mean()), low=float(low), high=float(high))


def rate(name: str, amounts: Sequence[float], counted: bool = True) -> Rate:
    """Return how often (or how much, `counted` False) a thing came, one amount a night.

    Amounts that are not counts have no Poisson interval: with few nights their ends are NaN.
    """
    values = np.asarray(amounts, dtype=np.float64)
    mean = float(values.mean())
    few = len(values) < NIGHTS_MIN or not values.any()
    if counted and few:
        interval, method = poisson(int(values.sum()), len(values)), POISSON
    elif few:
        interval, method = Interval(value=mean, low=float("nan"), high=float("nan")), "too few nights"
    else:
        interval, method = resampled(values), RESAMPLED
    spread = float(values.var(ddof=1) / mean) if mean and len(values) > 1 else float("nan")
    return Rate(
        name=name, total=float(values.sum()), nights=len(values),
        share=share(int(np.count_nonzero(values)), len(values)), per_night=interval, method=method,
        clustering=spread if counted else float("nan"),
    )  # fmt: skip


def rates(
    nights: Sequence[Mapping[str, float]], counted: Sequence[str], amounts: Sequence[str]
) -> list[Rate]:
    """Return the rates of all named things, counts first; what a night doesn't name it didn't have."""
    out = [rate(name, [night.get(name, 0.0) for night in nights]) for name in counted]
    return out + [rate(name, [night.get(name, 0.0) for night in nights], counted=False) for name in amounts]
