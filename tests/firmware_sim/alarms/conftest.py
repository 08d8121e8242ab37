"""Fixtures of the alarm tests."""

import pytest

from firmware_sim.board import compiled


@pytest.fixture(scope="session")
def compiled_steps():
    """Return the engine's kernel, compiled: the one that the emulated board runs."""
    return compiled.load().alarm_steps
