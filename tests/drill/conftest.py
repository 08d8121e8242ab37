"""One compilation for all drills."""

import pytest

from firmware_sim.rig.runtimes import InProcess


@pytest.fixture(scope="session")
def runtime():
    return InProcess()
