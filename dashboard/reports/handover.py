"""The morning handover: one page of A4 as HTML and PDF, to be read in black and white."""

from base64 import b64encode
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from dashboard.figures.hand import value_words
from dashboard.formats import MINUTE, clock, date, number, offset, span
from dashboard.frames import NightFrame
from dashboard.morning import Morning, read_morning
from dashboard.pages.load import burden_sentences, condition_rows
from dashboard.pages.marks import kind_word
from dashboard.phrases import text
from dashboard.queries import choose_module, night_frame
from dashboard.reports.handover_figure import trend_svg
from dashboard.reserve_words import rung_line
from dashboard.units import alarm_in, in_unit, night_in, unit_word
from dashboard.view import View
from ingest.analysis.breathing.model import CANNOT_TELL
from ingest.analysis.case_look import case_span
from ingest.analysis.cases import Case
from ingest.analysis.hand import by_entry
from ingest.analysis.reserves.standing import standing
from ingest.analysis.spans import total_ms
from ingest.errors import UserError
from ingest.store.reader import Night, Reader

FIGURE_PIXELS = 700
TYPED_MAX = 150
# Reserves are worked out for now while the record is this fresh, else for its end.
FRESH_MS = 600_000
# Rows of alarms, disconnections, notes, summary: the first that fits one page is taken.
ROOMS = ((9, 5, 6, 40), (6, 4, 4, 26), (4, 3, 3, 20), (3, 2, 2, 14), (2, 1, 1, 8))


@dataclass(frozen=True, slots=True, kw_only=True)
class Handover:
    """Hold what was written: HTML, PDF, and how many pages the PDF has."""

    html: str
    pdf: bytes
    pages: int


def case_night(reader: Reader, case: Case, now_ms: int) -> Night:
    """Return a case as the stretch of time that a handover is written for."""
    return reader.stretch(case.module, *case_span(reader, case, now_ms))


def handover(reader: Reader, night: Night, view: View, case: int | None = None) -> Handover:
    """Write the page of one night, or of the case of a number whose stretch `night` is.

    Lists are shortened until it is one page, and say what they leave out.
    """
    from weasyprint import HTML

    module = choose_module(reader, night.module)
    assert module is not None, "a night belongs to a module"
    morning = read_morning(reader, module, night, compare=case is None)
    frame = night_in(night_frame(reader, module, night.first, night.last, FIGURE_PIXELS), view.unit)
    figure = b64encode(trend_svg(frame, view).encode()).decode("ascii")
    template = environment().get_template("handover.html")
    gaps = total_ms([(gap.start, gap.end) for gap in reader.gaps(module.id, night.first, night.last)])
    shared = {
        "words": view.words, "svg": figure, "simulated": module.emulated, **_reserves(reader, night, view),
        **_head(morning, night, view, gaps, case),
    }  # fmt: skip
    for rooms in ROOMS:
        html = template.render(**shared, **_lists(morning, frame, rooms, view))
        document = HTML(string=html).render()
        if len(document.pages) == 1:
            break
    pdf = document.write_pdf()
    assert isinstance(pdf, bytes), "written to memory"
    return Handover(html=html, pdf=pdf, pages=len(document.pages))


def environment() -> Environment:
    """Return the templates, with every value escaped."""
    return Environment(
        loader=PackageLoader("dashboard.reports"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True,
    )


def _head(morning: Morning, night: Night, view: View, gaps_ms: int, case: int | None) -> dict[str, Any]:
    words, module = view.words, morning.module
    named = words("module.name", bed=module.bed, site=module.site) if module.bed or module.site else ""
    when = {
        name: words("time.day", date=date(utc, view.zone), clock=clock(utc, view.zone))
        for name, utc in (("start", night.first), ("end", night.last), ("written", view.now))
    }
    whole = night.last - night.first
    watched = night.monitored_ms
    return {
        "title": words("handover.title", date=date(night.start, view.zone))
        if case is None
        else words("handover.case_title", number=case),
        "where": words(
            "handover.where", place=named or words("handover.no_place"), module=f"{module.id:08x}"
        ),
        "span": words("handover.span", zone=view.zone.key, offset=offset(night.first, view.zone), **when),
        "preset": None
        if morning.preset is None
        else words("handover.preset", preset=words(f"preset.{morning.preset}")),
        "coverage": words(
            "handover.covered",
            watched=span(watched, words),
            whole=span(whole, words),
            percent=number(100 * watched / max(whole, 1), 1),
            gaps=span(gaps_ms, words),
        ),
        "caution": words("handover.caution", list=words("list.join").join(words(k) for k in CANNOT_TELL)),
        "burden": burden_sentences(morning.burden, words),
        "language": words.language,
    }


def _reserves(reader: Reader, night: Night, view: View) -> dict[str, Any]:
    """Return how reserves stood when the record ended, for the last night; earlier ones have none to show."""
    words = view.words
    fresh = view.now - night.last < FRESH_MS
    at = view.now if fresh else night.last
    title = words("handover.reserves", clock=clock(at, view.zone))
    span_of = reader.span(night.module)
    if span_of is None or span_of[1] > night.last:
        return {"reserves_title": title, "reserves": []}
    rows = []
    for rung in standing(reader, night.module, at).cascade.rungs:
        said = rung_line(rung, view)
        unknown = words("list.join").join(words(key) for key in rung.unknown[:2])
        rows.append(words("handover.reserve", rung=said, list=unknown) if unknown else said)
    return {"reserves_title": title, "reserves": rows}


def _lists(
    morning: Morning, frame: NightFrame, rooms: tuple[int, int, int, int], view: View
) -> Mapping[str, Any]:
    words = view.words
    alarm_room, apart_room, note_room, phrase_room = rooms
    apart = [_apart_row(one, view) for one in morning.apart]
    notes = [_note(mark, view) for mark in morning.marks][::-1]
    phrases = [text(phrase, words) for phrase in morning.phrases]
    rows = condition_rows(morning.burden, words)
    return {
        "unit": unit_word(view.unit, words),
        "phrases": _cut(phrases, phrase_room, words),
        "alarms": _room(rows, alarm_room, words),
        "apart": _room(apart, apart_room, words),
        "notes": _room(notes, note_room, words),
        "hand": words("list.join").join(
            words(
                "handover.hand_one", what=words(f"entry.{what}"), value=value_words(mine[-1], words),
                clock=clock(mine[-1].at_ms, view.zone),
            )
            for what, mine in by_entry(morning.hand).items()
        ),
        "standing": [
            words(one.key) for one in (alarm_in(a, view.unit) for a in morning.alarms) if one.end is None
        ],
    }


def _room(rows: Sequence[Any], room: int, words: Any) -> dict[str, Any]:
    more = len(rows) - room
    return {"rows": rows[:room], "more": words("handover.more", count=more) if more > 0 else ""}


def _cut(phrases: list[str], room: int, words: Any) -> list[str]:
    """Return the first phrases; what is left out is counted."""
    more = len(phrases) - room
    return phrases if more <= 0 else [*phrases[:room], words("handover.more", count=more)]


def _apart_row(finding: Any, view: View) -> tuple[str, str, str, str]:
    words = view.words
    before = ""
    if finding.after is not None:
        before = words(finding.after)
        minutes = finding.evidence["before_min"]
        if minutes >= 0.5:
            before = words("handover.earlier", finding=before, span=span(minutes * MINUTE, words))
    highest = finding.evidence["highest_cmh2o"]
    return (
        clock(finding.start_ms, view.zone, seconds=True),
        span(finding.end_ms - finding.start_ms, words),
        words.number(number(in_unit(highest, view.unit), 1)),
        before,
    )


def _note(mark: Any, view: View) -> tuple[str, str, str, str]:
    typed = mark.text if len(mark.text) <= TYPED_MAX else mark.text[: TYPED_MAX - 1] + "…"
    return clock(mark.utc, view.zone), mark.author, kind_word(mark.kind, view.words), typed


def chosen(nights: Sequence[Night], wanted: str | None, view: View) -> Night:
    """Return the night of a date (YYYY-MM-DD, its evening), None: the last; UserError if there is none."""
    if not nights:
        raise UserError("The store holds no night yet; record into it with `nightkeel ingest`.")
    dates = {date(night.start, view.zone): night for night in nights}
    if wanted is None:
        return max(nights, key=lambda night: night.start)
    if wanted not in dates:
        raise UserError(f"There is no night of {wanted}; there are {', '.join(sorted(dates)[-7:])}.")
    return dates[wanted]


def write_files(written: Handover, folder: Path, name: str) -> list[Path]:
    """Write HTML and PDF into a folder; return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    html, pdf = folder / f"{name}.html", folder / f"{name}.pdf"
    html.write_text(written.html, encoding="utf-8")
    pdf.write_bytes(written.pdf)
    return [html, pdf]
