"""`nightkeel doctor`: what is wrong with this installation, and how to mend it."""

import json
import sys
from dataclasses import asdict
from pathlib import Path

import click

EPILOG = """\b
Examples:
  nightkeel doctor
  nightkeel doctor --store night.db --link /dev/ttyACM0"""


@click.command(epilog=EPILOG)
@click.option("--store", type=click.Path(path_type=Path), help="Also look at this store.")
@click.option("--link", help="Also look at this serial device or socket://HOST:PORT.")
@click.option(
    "--host", default="127.0.0.1", show_default=True, help="Address that the pages will be served on."
)
@click.option(
    "--port", default=8050, show_default=True, type=click.IntRange(1, 65535), help="Port of the pages."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def doctor(store: Path | None, link: str | None, host: str, port: int, as_json: bool) -> None:
    """Check the installation, a store, a link and the web port; say how to mend what is wrong.

    Exit status 1 when something must be mended; a note alone is no failure.
    """
    from ingest.doctor import MEND, check_all

    findings = list(check_all(store=store, link=link, host=host, port=port))
    if as_json:
        click.echo(json.dumps({"findings": [asdict(finding) for finding in findings]}))
    else:
        for finding in findings:
            click.echo(f"{finding.level:5} {finding.subject}: {finding.said}")
        click.echo(
            "This looked at the installation only, not at sensors, alarms or the set-up at the bedside."
        )
    if any(finding.level == MEND for finding in findings):
        sys.exit(1)
