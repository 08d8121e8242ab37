"""A folder with a board and a daemon, both real processes."""

import pytest

from tests.support.crash_bed import Bed


@pytest.fixture
def bed(tmp_path):
    made = Bed(tmp_path)
    yield made
    made.close()
