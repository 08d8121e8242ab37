"""One compilation for all tests of the rig, and makers of beds and events."""

import pytest

from firmware_sim.rig.runtimes import InProcess
from firmware_sim.scenarios._parts import at
from tests.support.bed import Bed


@pytest.fixture(scope="session")
def runtime():
    """Compile the kernels once."""
    return InProcess()


@pytest.fixture
def bed(runtime):
    """Return a maker of beds."""
    return lambda *events, **options: Bed(runtime, *events, **options)


@pytest.fixture
def event():
    """Return a maker of events: event(t_s, actor, action, **params)."""
    return at
