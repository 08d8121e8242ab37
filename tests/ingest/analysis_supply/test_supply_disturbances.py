"""Disturbance labels on the published integral models and on an outside generator of them."""

from functools import partial

import numpy as np
import pytest
from pypqd import synthetic

from ingest.analysis.supply import disturbance_models as models
from ingest.analysis.supply import disturbances as dist

PEAK = 230.0 * np.sqrt(2.0)

# Least recall by class and noise, on seeds that no limit was fixed on. At 20 dB an impulse of 0.05 to 0.26
# stands in noise of 0.07 rms for three samples: it can't be told, and isn't.
LEAST = {20.0: 0.7, 30.0: 0.7, 40.0: 0.8}
EXCUSED = {(20.0, "impulse"), (30.0, "impulse")}


@pytest.mark.parametrize("decibel", models.DECIBELS)
def test_confusion_on_fresh_seeds(decibel):
    got = models.confusion(decibel, range(1000, 1010))
    for name, recall in zip(got.labels, got.recall, strict=True):
        if (decibel, name) not in EXCUSED:
            assert recall >= LEAST[decibel], (name, got.counts)
    assert got.recall[got.labels.index("normal")] >= 0.9
    assert got.counts.sum() == 10 * len(dist.LABELS)


def test_report_and_tuning_seeds_are_apart():
    assert not set(models.TUNING_SEEDS) & set(models.REPORT_SEEDS)
    one, two = models.example("dip", seed=1, decibel=30), models.example("dip", seed=1001, decibel=30)
    assert not np.array_equal(one, two)
    assert np.array_equal(one, models.example("dip", seed=1, decibel=30))


def test_limits_decide():
    # A planted limit must show in the matrix, or the matrix is decoration.
    blind = models.confusion(40.0, range(3), dist.Limits(dip=0.0, ring_ratio=1e9))
    index = dist.LABELS.index
    assert blind.counts[index("dip"), index("dip")] == 0
    assert blind.counts[index("oscillatory transient"), index("oscillatory transient")] == 0


OUTSIDE = {
    "normal": synthetic.normal,
    "dip": synthetic.sag,
    "swell": synthetic.swell,
    "interruption": synthetic.interruption,
    "flicker": synthetic.fluctuation,
    "harmonic distortion": synthetic.harmonics,
    "oscillatory transient": synthetic.oscillatory,
    # its random notches stand elsewhere in each cycle; the published model repeats them
    "notch": partial(synthetic.notch, notch_interval=("fixed", (0.0012, 0.0021))),
    "impulse": synthetic.impulsive,
}


@pytest.mark.parametrize("name", OUTSIDE)
def test_outside_generator(name):
    # pypqd draws from numpy's global generator and spreads N points over the whole length, so its 50 Hz is
    # 50.016.
    np.random.seed(7)
    got = []
    for _ in range(12):
        (one,) = OUTSIDE[name](signal_duration=1.0)
        wave = one["Values"] * PEAK
        got.append(dist.label(wave, 3200.0, 230.0, 50.0))
    assert got.count(name) / len(got) >= 0.75, got


def test_several_disturbances_are_all_listed():
    time = np.arange(3200) / 3200.0
    wave = PEAK * (np.sin(2 * np.pi * 50 * time) + 0.08 * np.sin(2 * np.pi * 250 * time))
    wave *= np.where((time > 0.4) & (time < 0.5), 0.6, 1.0)
    assert dist.found(wave, 3200.0, 230.0, 50.0)[0] == "dip"
    assert "harmonic distortion" in dist.found(wave, 3200.0, 230.0, 50.0)


@pytest.mark.parametrize("hertz", [47.0, 50.0, 52.0])
def test_frequency_off_nominal_is_no_disturbance(hertz):
    time = np.arange(3200) / 3200.0
    assert dist.label(PEAK * np.sin(2 * np.pi * hertz * time), 3200.0, 230.0, 50.0) == "normal"


def test_short_capture_is_refused():
    with pytest.raises(ValueError, match="shorter than 8 cycles"):
        dist.label(np.zeros(300), 3200.0, 230.0, 50.0)


def test_dead_capture_is_an_interruption():
    assert dist.label(np.zeros(3200), 3200.0, 230.0, 50.0) == "interruption"


def test_sixty_hertz():
    time = np.arange(3200) / 3200.0
    peak = 120 * np.sqrt(2)
    calm = peak * np.sin(2 * np.pi * 60 * time)
    assert dist.label(calm, 3200.0, 120.0, 60.0) == "normal"
    assert dist.label(calm * np.where(time > 0.5, 0.5, 1.0), 3200.0, 120.0, 60.0) == "dip"


def test_precision_of_a_label_never_given_is_nan():
    got = dist.Confusion(labels=("a", "b"), counts=np.array([[3, 0], [1, 0]]))
    assert got.recall.tolist() == [1.0, 0.0]
    assert got.precision[0] == 0.75
    assert np.isnan(got.precision[1])
