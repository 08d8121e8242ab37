"""The daemon's client in virtual time: asks a live bed's requests instead of a socket."""

from ingest import control_client
from ingest.errors import UserError


class BedClient(control_client.Client):
    """Ask a bed's requests; time goes on while an answer is waited for. `bed` None: no daemon runs."""

    bed = None

    def ask(self, request):
        if self.bed is None:
            raise UserError("No daemon answers for this store; start `nightkeel ingest`.")
        if request["do"] == "answer":
            self.bed.play(1)
        return {"ok": True, **self.bed.requests(request)}


def in_place(monkeypatch, *modules):
    """Put it in place of the socket's client in these modules; return it, its `bed` to be set."""
    monkeypatch.setattr(control_client, "ANSWER_STEP_S", 0.0)
    monkeypatch.setattr(BedClient, "bed", None)
    for module in modules:
        monkeypatch.setattr(module, "Client", BedClient)
    return BedClient
