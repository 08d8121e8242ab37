"""`nightkeel study`: a power-quality report with tables and figures, from a store."""

import sys
from pathlib import Path

import click

EPILOG = """\b
Examples:
  nightkeel study clinic.db --out study/
  nightkeel study clinic.db --from 2026-05-01 --to 2026-06-01 --reference 230 --out may/ --package
  nightkeel study clinic.db --language fr --out etude/
  nightkeel study clinic.db --module 59275aab --tap after --zone Asia/Kolkata --out after/"""


@click.command(epilog=EPILOG)
@click.argument("store", type=click.Path(path_type=Path))
@click.option("--from", "begin", metavar="TIME", help="Begin, such as 2026-05-11 or 2026-05-11T18:00.")
@click.option("--to", "end", metavar="TIME", help="End, not included; default: all that is recorded.")
@click.option("--reference", metavar="V", help="Declared voltage; default: what the module reports.")
@click.option("--module", "wanted", metavar="NUMBER", help="Module to study; default: the one heard last.")
@click.option("--tap", type=click.Choice(["before", "after"]), default="before", show_default=True,
              help="Voltage before or after the UPS.")  # fmt: skip
@click.option("--zone", default="UTC", show_default=True, help="Time zone of --from, --to and the report.")
@click.option("--island", is_flag=True, help="Supply without a link to a large grid: wider frequency limits.")
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="DIR", help="Folder to write.")
@click.option("--language", "--lang", "language", default="en", show_default=True,
              type=click.Choice(("en", "fr")), help="Of the report; tables and summary.json stay in English.")
@click.option("--package", is_flag=True, help="Also write package.zip: data without names, places, dates.")
def study(
    store: Path, begin: str | None, end: str | None, reference: str | None, wanted: str | None, tap: str,
    zone: str, island: bool, out: Path, language: str, package: bool,
) -> None:  # fmt: skip
    """Write a supply study: report (HTML, PDF), tables (CSV, Parquet), figures (SVG, PNG), summary.json."""
    from datetime import UTC, datetime

    from dashboard.reports.study_ask import Asked, ask
    from dashboard.reports.study_captures import captures_of
    from dashboard.reports.study_data import TAPS, days_of, site_of
    from dashboard.reports.study_dictionary import package as packed
    from dashboard.reports.study_report import case_of, write_study
    from dashboard.texts import Words
    from ingest.store.reader import open_reader

    words = Words(language)
    with open_reader(store) as reader:
        asked: Asked = ask(reader, store, words, begin, end, reference, wanted, zone, out)
        modules = [asked.module, *asked.others]
        steps = days_of(asked.start, asked.end) * len(modules) + 3
        with click.progressbar(
            length=steps, label=words("study.progress"), file=sys.stderr, width=30,
            hidden=not sys.stderr.isatty(),
        ) as bar:  # fmt: skip
            sites = [
                site_of(
                    reader, module, asked.start, asked.end, zone=asked.zone, tap=TAPS.index(tap),
                    reference_v=asked.reference_v, island=island, progress=lambda: bar.update(1),
                )
                for module in modules
            ]  # fmt: skip
            captures = captures_of(reader, asked.module.id, asked.start, asked.end) if package else []
            cases = [case_of(site) for site in sites]
            bar.label = words("study.drawing")
            written = datetime.now(UTC)
            files = write_study(cases[0], cases[1:], out, words, asked.zone, written, lambda: bar.update(1))
    if package:
        (out / "package.zip").write_bytes(packed(cases[0], captures=captures))
        files += 1
    simulated = words("study.mark") if asked.module.emulated else ""
    click.echo(words("study.done", files=files, folder=out, simulated=simulated))
