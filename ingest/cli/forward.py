"""`nightkeel forward`: send stored records on to a time-series server."""

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ingest.errors import UserError

if TYPE_CHECKING:
    from ingest.sinks.forwarder import Forwarder

EPILOG = """\b
Examples:
  nightkeel forward --store night.db --url http://127.0.0.1:8086 --bucket nights --token-file token
  nightkeel forward --store night.db --url http://127.0.0.1:8428 --once"""
FOLLOW_S = 2.0


@click.command(epilog=EPILOG)
@click.option("--store", required=True, type=click.Path(path_type=Path), help="Store to read.")
@click.option("--url", required=True, help="Server with a v2 write API, such as http://127.0.0.1:8086.")
@click.option("--org", default="nightkeel", show_default=True, help="Organisation there.")
@click.option("--bucket", default="nightkeel", show_default=True, help="Bucket there.")
@click.option("--token-file", type=click.Path(path_type=Path), help="File with the token.")
@click.option("--name", help="Name of this cursor in the store; default: address and bucket.")
@click.option("--once", is_flag=True, help="Send what is there, then end; otherwise go on as records come.")
@click.option("--quiet", is_flag=True, help="Say nothing but errors.")
def forward(
    store: Path,
    url: str,
    org: str,
    bucket: str,
    token_file: Path | None,
    name: str | None,
    once: bool,
    quiet: bool,
) -> None:
    """Send trends, breaths, alarm and supply events to a server, from where it got to last time.

    Live records go first, then the backlog. A server that is away for a day costs nothing but the wait: the
    store keeps everything, and `prune` spares what was not sent yet.
    """
    from ingest.sinks.cursors import Cursors
    from ingest.sinks.forwarder import Forwarder, Halted
    from ingest.sinks.influx import open_sender
    from ingest.store.outbox import Outbox

    sender = open_sender(url, org, bucket, token_file)
    name = name or f"{url} {bucket}"
    outbox = Outbox(store, name)
    forwarder = Forwarder(outbox, sender, save=Cursors(store, name).save)
    try:
        _run(forwarder, once, quiet)
    except Halted as halted:
        raise UserError(f"Forwarding to {url} stopped: {halted}. Nothing is lost.") from halted
    finally:
        forwarder.close()
        sender.close()
        outbox.close()
    if not quiet:
        done = forwarder.tally
        click.echo(
            f"{done.lines} lines, {done.bytes / 1e6:.1f} MB sent in {done.requests} requests; "
            f"{done.retries} repeated, {done.rejected} refused by the server.",
            err=True,
        )


def _run(forwarder: "Forwarder", once: bool, quiet: bool) -> None:
    backlog = forwarder.backlog()
    with click.progressbar(
        length=max(backlog, 1),
        label="forwarding",
        file=sys.stderr,
        width=30,
        hidden=quiet or not sys.stderr.isatty(),
    ) as bar:
        while covered := forwarder.round():
            bar.update(covered)
    while not once:
        if not forwarder.round():
            time.sleep(FOLLOW_S)
