import pytest

from firmware_sim import compiled


@pytest.fixture(scope="session")
def fast():
    """The kernels compiled by numba; that they equal the plain ones is a test of its own."""
    return compiled.load()
