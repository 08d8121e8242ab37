"""The tables of disturbances in the documents are what was counted, on the seeds that they speak of."""

import json

import numpy as np
import pytest

from ingest.analysis.supply import disturbance_models as models
from ingest.analysis.supply.disturbances import LABELS, RULES
from ingest.docs import CONFUSION, write_confusion, write_disturbances


@pytest.fixture(scope="module")
def stored():
    return {float(decibel): np.array(rows) for decibel, rows in json.loads(CONFUSION.read_text()).items()}


def test_each_class_was_tried_with_every_seed_and_noise(stored):
    assert tuple(stored) == models.DECIBELS
    for counts in stored.values():
        assert counts.shape == (len(LABELS), len(LABELS))
        assert set(counts.sum(axis=1)) == {len(models.REPORT_SEEDS)}


@pytest.mark.parametrize("decibel", models.DECIBELS)
def test_a_part_of_the_seeds_counts_no_more_than_all_of_them(stored, decibel):
    few = models.confusion(decibel, models.REPORT_SEEDS[:6]).counts
    assert few.sum() == 6 * len(LABELS)
    assert np.all(few <= stored[decibel])
    assert np.all(stored[decibel] - few <= len(models.REPORT_SEEDS) - 6)


@pytest.mark.soak
@pytest.mark.parametrize("decibel", models.DECIBELS)
def test_the_matrices_are_what_is_counted(stored, decibel):
    assert np.array_equal(models.confusion(decibel).counts, stored[decibel])


def test_the_documents_state_each_rule_and_how_often_its_name_was_right(stored):
    text = write_disturbances()
    for number, name in enumerate(LABELS):
        (line,) = [line for line in text.splitlines() if line.startswith(f"| {name} |")]
        right = [str(counts[number, number]) for counts in stored.values()]
        assert line.split(" | ")[-3:-1] + [line.split(" | ")[-1].rstrip(" |")] == right
    # The rule that a reader finds is the one beside the code; its figures are those of the table of limits.
    assert all(rule.__doc__.split("\n")[0] in text for _, rule in RULES)
    for figure in ("0.105", "0.915", "1.085", "0.35 Hz", "6 degrees", "65 %", "5.5 times"):
        assert figure in text


def test_the_matrices_in_the_documents_have_a_row_a_class():
    text = write_confusion()
    assert text.count("Noise of") == 3
    assert text.count("| impulse |") == 2 * 3
