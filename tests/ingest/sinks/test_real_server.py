"""Against a real server, Debian's victoria-metrics: every point written is read back and compared.

Tried beforehand: the server keeps a point as often as it was written, so it is started with
`-dedup.minScrapeInterval=1ms` and points are compared after that de-duplication. Its write API is that of
InfluxDB v2; an InfluxDB 2 itself was not tried here.
"""

import json
import urllib.error
import urllib.parse
import urllib.request

import pytest

from ingest.inline import Inline
from ingest.pipeline import this_contract
from ingest.sinks.cursors import Cursors
from ingest.sinks.forwarder import Forwarder
from ingest.sinks.influx import InfluxSender
from ingest.store.outbox import Outbox
from tests.support.module_double import ModuleDouble
from tests.support.store_check import lines_of
from tests.support.time_series_server import serving

UTC = 1_700_000_000_000
SECONDS = 900


@pytest.fixture(scope="module")
def real_server(tmp_path_factory):
    with serving(tmp_path_factory.mktemp("metrics")) as url:
        yield url


def _export(url, match):
    """Return {(series labels): {ms: value}} from the server's own export API."""
    query = urllib.parse.urlencode({"match[]": match})
    with urllib.request.urlopen(f"{url}/internal/force_flush", timeout=30):
        pass
    with urllib.request.urlopen(f"{url}/api/v1/export?{query}", timeout=60) as answer:
        rows = [json.loads(line) for line in answer.read().decode().splitlines()]
    return {
        tuple(sorted(row["metric"].items())): dict(zip(row["timestamps"], row["values"], strict=True))
        for row in rows
    }


def _points(lines):
    """Read lines back by hand: {(series labels): {ms: value}} as the server names its series."""
    out = {}
    for line in lines:
        start, fields, stamp = line.rsplit(" ", 2)
        measurement, *tags = start.split(",")
        labels = [tuple(tag.split("=")) for tag in tags]
        for field in fields.split(","):
            name, value = field.split("=")
            key = tuple(sorted([("__name__", f"{measurement}_{name}"), *labels]))
            out.setdefault(key, {})[int(stamp)] = float(value)
    return out


@pytest.fixture
def recorded(tmp_path):
    module, path = ModuleDouble(this_contract(), module=0xAB), tmp_path / "s.db"
    inline = Inline(path, UTC, site="clinic", bed="3")
    for second in range(1, SECONDS + 1):
        module.second()
        module.receive(inline.feed(module.send(), second * 1000, UTC + second * 1000))
    inline.close()
    return path


def test_every_point_arrives_and_a_second_sending_changes_nothing(real_server, recorded):
    outbox = Outbox(recorded, "real")
    (place,) = outbox.places()
    lines = lines_of(outbox, place.boot, 0, place.newest)
    sender = InfluxSender(real_server, org="o", bucket="nights", token="t")
    forwarder = Forwarder(outbox, sender, save=Cursors(recorded, "real").save, batch_records=1000)
    while forwarder.round():
        pass
    assert forwarder.tally.lines == len(lines) == SECONDS + SECONDS // 4
    expected = _points(lines)
    assert _export(real_server, '{module="000000ab"}') == expected
    # At least once: all of it again, as after a cut before the cursor moved.
    assert sender("\n".join(lines).encode()).status == 204
    assert _export(real_server, '{module="000000ab"}') == expected
    assert sum(len(values) for values in expected.values()) > SECONDS * 15
    sender.close()
    outbox.close()
