"""The handover of one case over HTTP, as PDF: made when it is asked for."""

from urllib.parse import urlencode

from flask import Flask, Response, abort, request

from dashboard.links import parse
from dashboard.queries import choose_module, reading
from dashboard.settings import Settings
from dashboard.view import view_of
from ingest.analysis.cases import KIND, Case, cases, numbered
from ingest.errors import UserError

PATH = "/handover.pdf"


def handover_address(case: Case) -> str:
    """Return where the handover of a case is to be had."""
    return f"{PATH}?{urlencode({'module': f'{case.module:08x}', 'case': case.number})}"


def serve_handovers(server: Flask, settings: Settings) -> None:
    """Add the route; the gate before all routes stands before it too."""

    @server.route(PATH)
    def handover_pdf() -> Response:
        # Weeds out what takes seconds to load until somebody asks for paper.
        from dashboard.reports.handover import case_night, handover

        asked = request.args.get("case", "")
        if not (asked.isascii() and asked.isdigit() and len(asked) < 6):
            abort(404)
        view = view_of(request.cookies, settings)
        try:
            with reading(settings.store) as reader:
                module = choose_module(reader, parse(request.query_string.decode("ascii", "replace")).module)
                if module is None:
                    abort(404)
                case = numbered(cases(reader.marks(module.id, kind=KIND)), int(asked))
                written = handover(reader, case_night(reader, case, view.now), view, case.number)
        except UserError:
            abort(404)
        name = view.words("handover.case_file", number=case.number)
        return Response(
            written.pdf, mimetype="application/pdf",
            headers={"Content-Disposition": f'inline; filename="{name}.pdf"', "Cache-Control": "no-store"},
        )  # fmt: skip
