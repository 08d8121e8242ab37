"""`nightkeel handover`: write the one-page morning handover."""

import time
from pathlib import Path

import click

EPILOG = """\b
Examples:
  nightkeel handover night.db --out handover/
  nightkeel handover night.db --out handover/ --case 3
  nightkeel handover night.db --out handover/ --night 2026-02-28 --lang fr --unit hPa"""


@click.command(epilog=EPILOG)
@click.argument("store", type=click.Path(path_type=Path))
@click.option(
    "--out", required=True, type=click.Path(path_type=Path, file_okay=False), help="Folder to write into."
)
@click.option("--night", "wanted", metavar="DATE", help="Date of its evening, YYYY-MM-DD; default: the last.")
@click.option("--case", "case_number", type=int, help="One case, by its number, in place of a night.")
@click.option("--lang", default="en", show_default=True, type=click.Choice(("en", "fr")), help="Language.")
@click.option(
    "--unit", default="cmH2O", show_default=True, type=click.Choice(("cmH2O", "hPa", "mbar")),
    help="Of circuit pressure.",
)  # fmt: skip
@click.option("--zone", default="UTC", show_default=True, help="Time zone of shown times, e.g. Asia/Kolkata.")
@click.option("--module", metavar="NUMBER", help="Module by its hexadecimal number; default: the last heard.")
def handover(
    store: Path, out: Path, wanted: str | None, case_number: int | None, lang: str, unit: str, zone: str,
    module: str | None,
) -> None:
    """Write one night, or one case, on one page of A4, as HTML and PDF, to be read in black and white.

    Begins with what went unrecorded and what is not measured. A research and prototyping tool.
    """
    from dashboard.formats import date, utc_offset_ms
    from dashboard.links import parse
    from dashboard.queries import choose_module, nights, reading
    from dashboard.reports.handover import case_night, chosen, write_files
    from dashboard.reports.handover import handover as written
    from dashboard.texts import Words
    from dashboard.theme import THEMES
    from dashboard.view import WIDTH_USUAL, View, zone_of
    from ingest.analysis.cases import KIND, cases, numbered
    from ingest.errors import UserError

    found_zone = zone_of(zone)
    if found_zone is None:
        raise UserError(f"There is no time zone {zone!r}; name one like Africa/Nairobi or UTC with --zone.")
    view = View(
        words=Words(lang), zone=found_zone, theme=THEMES[0], width=WIDTH_USUAL,
        now=time.time_ns() // 1_000_000, unit=unit,
    )  # fmt: skip
    with reading(store) as reader:
        asked = None if module is None else parse(f"module={module}").module
        one = choose_module(reader, asked)
        if module is not None and (one is None or one.id != asked):
            known = ", ".join(f"{each.id:08x}" for each in reader.modules())
            raise UserError(f"There is no module {module!r} in {store}; there are {known or 'none'}.")
        if case_number is not None and one is not None:
            if wanted is not None:
                raise UserError("Name a night with --night or a case with --case, not both.")
            case = numbered(cases(reader.marks(one.id, kind=KIND)), case_number)
            page = written(reader, case_night(reader, case, view.now), view, case_number)
            name = f"handover-case-{case_number}"
        else:
            rows = [] if one is None else nights(reader, one.id, utc_offset_ms(view.now, view.zone))
            night = chosen(rows, wanted, view)
            page = written(reader, night, view)
            name = f"handover-{date(night.start, view.zone)}"
    for path in write_files(page, out, name):
        click.echo(str(path))
