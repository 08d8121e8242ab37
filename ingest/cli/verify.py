"""`nightkeel verify`: check a store."""

import json
import sys
from dataclasses import asdict
from pathlib import Path

import click


@click.command(epilog="\b\nExample:\n  nightkeel verify --store night.db")
@click.option("--store", required=True, type=click.Path(path_type=Path), help="Store to check.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def verify(store: Path, as_json: bool) -> None:
    """Check a store's pages, its gaps, and its records against the modules' own sequence.

    Exit status 1 when something is wrong. Records that a module itself lost are no fault: they are counted.
    """
    from ingest.store.verify import verify as check

    report = check(store)
    if as_json:
        click.echo(json.dumps(asdict(report)))
    else:
        click.echo(
            f"{report.records} records of {report.modules} modules in {report.boots} boots; "
            f"{report.missing} missing in {report.gaps} recorded gaps."
        )
        for problem in report.problems:
            click.echo(f"fault: {problem}")
    sys.exit(1 if report.problems else 0)
