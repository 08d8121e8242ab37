"""A client as the daemon's, in virtual time."""

import pytest

from ingest import control_client, marks
from tests.support.bed_client import in_place


@pytest.fixture
def bed_client(monkeypatch):
    """Return the client that stands in place of the socket's."""
    return in_place(monkeypatch, control_client, marks)
