"""The error table of the documents: data of a named command, measured anew by the soak."""

import json

import pytest

from tests.support.breathing_errors import COUNTS, DATA, UNSEEN, measure

STORED = json.loads(DATA.read_text("utf-8"))


def test_the_stored_figures_keep_what_is_promised():
    """Recall and precision 0.999 together, 0.5 cmH2O: the figures to reach.

    Of 3 % misjudged some hands of these seeds miss by a little, which the table says. Of small patients on a
    draw-over circuit nothing is promised but that no breath is invented.
    """
    assert STORED["patients"] * len(STORED["sources"]) > 2000
    for name, one in STORED["sources"].items():
        assert one["module_true"] > 1000, name
        assert one["module_extra"] / one["module_true"] <= 0.002, name
        if name in UNSEEN:
            continue
        assert (one["missed"] + one["extra"]) / one["true"] <= (0.004 if "hand" in name else 0.002), name
        assert one["module_missed"] / one["module_true"] <= 0.003, name
        assert one["misjudged"] / one["breaths"] <= 0.05, name
        # A hand's next squeeze begins gently: the rest before it is read up to 0.7 too high.
        assert one["errors"]["end_expiratory"][1] <= (0.7 if "hand" in name else 0.5), name
        assert one["errors"]["mean"][1] <= 0.5, name


def test_the_command_named_is_the_one_that_measures():
    assert STORED["command"] == f"python -m tests.support.breathing_errors {STORED['patients']}"


@pytest.mark.soak
def test_measured_anew_the_table_is_the_same():
    """The plant is made of integers; only numpy's sums may differ in the last digit."""
    anew = measure(STORED["patients"], STORED["seed"])
    for name, one in STORED["sources"].items():
        again = anew["sources"][name]
        assert {key: again[key] for key in COUNTS} == {key: one[key] for key in COUNTS}
        for key, points in one["errors"].items():
            assert again["errors"][key] == pytest.approx(points, abs=0.01), (name, key)
