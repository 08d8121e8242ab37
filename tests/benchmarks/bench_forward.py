"""From the store into a real server, against a bare client that sends the same lines ready-made.

The server is Debian's victoria-metrics on loopback, and it works on the same cores. The bare client posts to
the server's own path for lines; the other peer is that server's own import format, the same points as JSON.
"""

import http.client
import json
import tempfile
import time
from pathlib import Path

from ingest.inline import Inline
from ingest.pipeline import this_contract
from ingest.sinks.cursors import Cursors
from ingest.sinks.forwarder import Forwarder
from ingest.sinks.influx import InfluxSender
from ingest.store.outbox import Outbox
from tests.support.module_double import ModuleDouble
from tests.support.time_series_server import is_here, serving

UTC = 1_700_000_000_000
PORT = 18_429
URL = f"http://127.0.0.1:{PORT}"
ROUNDS = 3
# Lines of one body of the bare client, as many as the forwarder's.
BODY_LINES = 5000


def rows(quick):
    """Yield lines a second from the store into the server and to nowhere, and what it takes of us."""
    if not is_here():
        return
    with tempfile.TemporaryDirectory() as name, serving(Path(name) / "data", PORT):
        store = record(Path(name) / "night.db", 6000 if quick else 43_200)
        outbox = Outbox(store, "all")
        (place,) = outbox.places()
        began = time.process_time()
        body = outbox.body(place.boot, 0, place.newest)
        written_s = time.process_time() - began
        outbox.close()
        lines = body.split(b"\n")
        fields = body.count(b"=") / len(lines) - lines[0].split(b" ")[0].count(b"=")
        bare, own, ours, ours_cpu = best(store, lines)
        kind = f"lines/s of {fields:.0f} fields"
        yield "lines written by the store, a core", len(lines) / written_s, kind, "", None
        yield (
            "store into the real server, against a bare client with ready lines",
            len(lines) / ours,
            kind,
            "100,000",
            bare / ours,
        )
        yield "store into the real server, against its own import", len(lines) / ours, kind, "", own / ours
        yield "a bare client with ready lines", len(lines) / bare, kind, "", None
        yield "the forwarder's own share of a core meanwhile", ours_cpu / ours * 100, "%", "", None


def best(store, lines):
    """Return the least seconds of a bare client, the import path and the forwarder, and its CPU seconds."""
    parts = [b"\n".join(lines[at : at + BODY_LINES]) for at in range(0, len(lines), BODY_LINES)]
    imported = as_import(lines)
    bare, own, ours = [], [], []
    for number in range(ROUNDS):
        bare.append(post("/write?precision=ms", parts))
        own.append(post("/api/v1/import", imported))
        ours.append(forward(store, f"round {number}", len(lines)))
    return min(bare), min(own), *min(ours)


def forward(store, name, count):
    """Forward all of a store as `nightkeel forward --once` does; return (seconds, CPU seconds)."""
    outbox, sender = Outbox(store, name), InfluxSender(URL, org="o", bucket="nights", token="t")
    forwarder = Forwarder(outbox, sender, save=Cursors(store, name).save)
    began, used = time.perf_counter(), time.process_time()
    while forwarder.round():
        pass
    took = time.perf_counter() - began, time.process_time() - used
    assert forwarder.tally.lines == count
    forwarder.close()
    sender.close()
    outbox.close()
    return took


def post(path, bodies):
    """Send bodies one after the other over one connection; return the seconds."""
    connection = http.client.HTTPConnection("127.0.0.1", PORT, timeout=120)
    began = time.perf_counter()
    for body in bodies:
        connection.request("POST", path, body)
        answer = connection.getresponse()
        answer.read()
        assert answer.status == 204, answer.status
    took = time.perf_counter() - began
    connection.close()
    return took


def as_import(lines):
    """Return the same points as the server's import format: series by series, a body a stretch of lines."""
    bodies = []
    for at in range(0, len(lines), BODY_LINES):
        series = {}
        for line in lines[at : at + BODY_LINES]:
            head, fields, stamp = line.decode().rsplit(" ", 2)
            for name, value in (field.split("=") for field in fields.split(",")):
                times, values = series.setdefault((head, name), ([], []))
                times.append(int(stamp))
                values.append(float(value))
        bodies.append("\n".join(json.dumps({"metric": metric(*key), "values": values, "timestamps": times})
                                for key, (times, values) in series.items()).encode())  # fmt: skip
    return bodies


def metric(head, name):
    """Return the labels of a series as the server names them."""
    measurement, *tags = head.split(",")
    return {"__name__": f"imported_{measurement}_{name}", **dict(tag.split("=") for tag in tags)}


def record(path, seconds):
    """Record some seconds of one module's trends and breaths."""
    module, inline = ModuleDouble(this_contract(), module=0xAB), Inline(path, UTC, site="clinic", bed="3")
    for second in range(1, seconds + 1):
        module.second()
        module.receive(inline.feed(module.send(), second * 1000, UTC + second * 1000))
    inline.close()
    return path
