"""The sheet of a check list over HTTP, as HTML or PDF: made when it is asked for."""

from urllib.parse import urlencode

from flask import Flask, Response, abort, request

from dashboard.links import parse
from dashboard.queries import choose_module, reading
from dashboard.settings import Settings
from dashboard.view import view_of
from ingest.analysis.guided.table import LISTS
from ingest.errors import UserError

PATH, PDF_PATH = "/sheet", "/sheet.pdf"


def sheet_address(module: int, list_name: str, *, pdf: bool = False) -> str:
    """Return where the sheet of a list is to be had."""
    return f"{PDF_PATH if pdf else PATH}?{urlencode({'module': f'{module:08x}', 'list': list_name})}"


def serve_sheets(server: Flask, settings: Settings) -> None:
    """Add both routes; the gate before all routes stands before them too."""

    def answer(*, pdf: bool) -> Response:
        # What takes seconds to load waits until somebody asks for paper.
        from dashboard.reports.sheet import sheet, sheet_html

        list_name = request.args.get("list", "")
        if list_name not in LISTS:
            abort(404)
        view = view_of(request.cookies, settings)
        try:
            with reading(settings.store) as reader:
                module = choose_module(reader, parse(request.query_string.decode("ascii", "replace")).module)
                if module is None:
                    abort(404)
                if pdf:
                    written = sheet(reader, module, list_name, view).pdf
                    return Response(written, mimetype="application/pdf",
                                    headers={"Cache-Control": "no-store"})  # fmt: skip
                text = sheet_html(reader, module, list_name, view)
        except UserError:
            abort(404)
        return Response(text, mimetype="text/html", headers={"Cache-Control": "no-store"})

    server.add_url_rule(PATH, "sheet", lambda: answer(pdf=False))
    server.add_url_rule(PDF_PATH, "sheet_pdf", lambda: answer(pdf=True))
