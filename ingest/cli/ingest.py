"""`nightkeel ingest`: record what modules send into a store."""

import resource
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ingest.errors import UserError

if TYPE_CHECKING:
    from ingest.daemon import LinkPlan

EPILOG = """\b
Examples:
  nightkeel ingest --link /dev/ttyACM0 --store night.db --site clinic --bed 3
  nightkeel ingest --link socket://127.0.0.1:7000 --link /dev/ttyACM1 --store night.db
  nightkeel ingest --config links.toml --store ward.db --wait"""
# A serial port and the pipes that the serial library opens beside it.
FILES_PER_LINK = 6


@click.command(epilog=EPILOG)
@click.option(
    "--link",
    "links",
    multiple=True,
    metavar="URL",
    help="A module's port, any URL that pyserial opens; may be given several times.",
)
@click.option(
    "--config",
    type=click.Path(path_type=Path),
    help="TOML file that lists many links: a table [[link]] with url, site, bed, key for each.",
)
@click.option("--store", required=True, type=click.Path(path_type=Path), help="File to record into.")
@click.option("--site", default="", help="Where the modules stand; kept when left out.")
@click.option("--bed", "beds", multiple=True, help="Bed of each link, in the same order.")
@click.option(
    "--key",
    type=click.Path(path_type=Path),
    help="File with the key shared with the modules, for links that leave this machine.",
)
@click.option(
    "--commit-ms",
    default=1000,
    show_default=True,
    type=click.IntRange(50, 10_000),
    help="Longest time between two commits.",
)
@click.option("--wait", is_flag=True, help="Wait for a port that isn't there yet.")
@click.option("--forward", "forward_url", metavar="URL", help="Also send records on to this server.")
@click.option("--org", default="nightkeel", show_default=True, help="Organisation there.")
@click.option("--bucket", default="nightkeel", show_default=True, help="Bucket there.")
@click.option("--token-file", type=click.Path(path_type=Path), help="File with the token for it.")
@click.option("--quiet", is_flag=True, help="Say nothing but errors.")
def ingest(
    links: tuple[str, ...],
    config: Path | None,
    store: Path,
    site: str,
    beds: tuple[str, ...],
    key: Path | None,
    commit_ms: int,
    wait: bool,
    forward_url: str | None,
    org: str,
    bucket: str,
    token_file: Path | None,
    quiet: bool,
) -> None:
    """Record what one or more modules send into a store, until Ctrl-C or SIGTERM.

    A record is acknowledged to its module only when it is on the disk; the module keeps and repeats the rest.
    The process may be killed at any moment: start it again and it goes on where it was.
    """
    from ingest.daemon import Daemon
    from ingest.progress import Progress
    from ingest.sinks.background import Background
    from ingest.sinks.influx import open_sender

    plans = _plans(config, links, site, beds, key)
    _allow_files(len(plans))
    progress = Progress(sys.stderr, quiet=quiet)
    daemon = Daemon(store, plans, commit_ms=commit_ms, wait=wait, report=progress.say)
    with ExitStack() as stack:
        if forward_url is not None:
            sender = open_sender(forward_url, org, bucket, token_file)
            stack.callback(sender.close)
            background = Background(store, f"{forward_url} {bucket}", sender, progress.say)
            background.start()
            stack.callback(background.stop)
        daemon.run(until=lambda: progress.show(daemon.host))
    progress.end()



def _plans(
    config: Path | None, links: tuple[str, ...], site: str, beds: tuple[str, ...], key: Path | None
) -> "list[LinkPlan]":
    from ingest.daemon import LinkPlan
    from ingest.links_file import read_key, read_links

    if not links and config is None:
        raise UserError("No link is named; write --link /dev/ttyACM0, or list them in --config FILE.")
    if len(beds) > len(links):
        raise UserError("There are more --bed than --link; give one bed a link, in the same order.")
    secret = read_key(key) if key is not None else None
    plans = [
        LinkPlan(url=url, site=site, bed=beds[place] if place < len(beds) else "", key=secret)
        for place, url in enumerate(links)
    ]
    return plans + (read_links(config) if config is not None else [])


def _allow_files(links: int) -> None:
    """Ask for room for so many ports; what the system doesn't give is said by the port that fails."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = FILES_PER_LINK * links + 200
    if soft < wanted and soft != resource.RLIM_INFINITY:
        most = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
        resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, most), hard))
