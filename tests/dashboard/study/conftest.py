"""A short invented day of supply."""

from pathlib import Path

import pytest

from tests.support.supply_store import write_supply


@pytest.fixture(scope="session")
def supply_store(tmp_path_factory) -> Path:
    """Return the store of that day."""
    return write_supply(tmp_path_factory.mktemp("supply") / "supply.db")
