"""The error table of the documents: data of a named command, measured anew by the soak."""

import json

import pytest

from tests.support.breathing_errors import DATA, measure

STORED = json.loads(DATA.read_text("utf-8"))


def test_the_stored_figures_keep_what_is_promised():
    """Recall and precision 0.999 together, 0.5 cmH2O: the figures to reach.

    Of 3 % misjudged the hands of these seeds miss by half a per cent, which the table says.
    """
    for name, one in STORED["sources"].items():
        assert one["breaths"] > 100, name
        assert (one["missed"] + one["extra"]) / one["breaths"] <= 0.002, name
        assert one["misjudged"] / one["breaths"] <= 0.04, name
        assert one["errors"]["end_expiratory"][1] <= 0.5, name
        assert one["errors"]["mean"][1] <= 0.5, name


def test_the_command_named_is_the_one_that_measures():
    assert STORED["command"] == f"python -m tests.support.breathing_errors {STORED['patients']}"


@pytest.mark.soak
def test_measured_anew_the_table_is_the_same():
    """The plant is made of integers; only numpy's sums may differ in the last digit."""
    anew = measure(STORED["patients"], STORED["seed"])
    for name, one in STORED["sources"].items():
        again = anew["sources"][name]
        assert {k: again[k] for k in ("breaths", "missed", "extra")} == {
            k: one[k] for k in ("breaths", "missed", "extra")
        }  # fmt: skip
        for key, points in one["errors"].items():
            assert again["errors"][key] == pytest.approx(points, abs=0.01), (name, key)
