"""A client as the daemon's, in virtual time."""

import pytest

from ingest import control_client
from ingest.errors import UserError


class BedClient(control_client.Client):
    """Ask a bed's requests instead of a socket; time goes on while an answer is waited for."""

    bed = None

    def ask(self, request):
        if self.bed is None:
            raise UserError("No daemon answers for this store; start `nightkeel ingest`.")
        if request["do"] == "answer":
            self.bed.play(1)
        return {"ok": True, **self.bed.requests(request)}


@pytest.fixture
def bed_client(monkeypatch):
    """Put the client in place of the socket's; return its class, whose `bed` is to be set."""
    monkeypatch.setattr(control_client, "ANSWER_STEP_S", 0.0)
    monkeypatch.setattr(control_client, "Client", BedClient)
    yield BedClient
    BedClient.bed = None
