"""The sheet of a check list: one page of A4 as HTML and PDF, readable in black and white."""

from dashboard.check_words import rows, when
from dashboard.formats import date
from dashboard.reports.handover import Handover, environment
from dashboard.view import View
from ingest.analysis.guided.run import Run, runs
from ingest.analysis.guided.table import KIND
from ingest.store.reader import Module, Reader

HEADS = ("sheet.step", "sheet.result", "sheet.figure", "sheet.how", "sheet.when")


def newest(reader: Reader, module: int, list_name: str) -> Run | None:
    """Return the newest run of a list, None before the first."""
    found = [one for one in runs(reader.marks(module, kind=KIND)) if one.list_name == list_name]
    return found[-1] if found else None


def sheet_html(reader: Reader, module: Module, list_name: str, view: View) -> str:
    """Return the newest run of a list as HTML; an empty form where it was never begun."""
    words = view.words
    run = newest(reader, module.id, list_name)
    begun = words("setup.never") if run is None else when(run.begun_ms, view)
    place = words("module.name", bed=module.bed, site=module.site) if module.bed or module.site else ""
    due = None if run is None or "discharge" not in run.results else run.results["discharge"].verdict
    due_ms = None if due is None else due.params.get("due_ms")
    return environment().get_template("sheet.html").render(
        words=words, language=words.language, simulated=module.emulated,
        title=words("sheet.title", list=words(f"list.name.{list_name}"), when=begun),
        where=words("sheet.where", place=place or words("handover.no_place"), module=f"{module.id:08x}"),
        heads=[words(one) for one in HEADS], rows=rows(run, list_name, view),
        due=words("sheet.due", date=date(due_ms, view.zone)) if isinstance(due_ms, int) else "",
    )  # fmt: skip


def sheet(reader: Reader, module: Module, list_name: str, view: View) -> Handover:
    """Return the sheet as HTML and PDF."""
    from weasyprint import HTML

    html = sheet_html(reader, module, list_name, view)
    document = HTML(string=html).render()
    pdf = document.write_pdf()
    assert isinstance(pdf, bytes), "written to memory"
    return Handover(html=html, pdf=pdf, pages=len(document.pages))
