"""Write a study to a folder: report as HTML and PDF, tables, figures, summary, dictionary. No browser."""

import json
import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import fields, is_dataclass
from datetime import datetime, tzinfo
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined

from dashboard.reports.study_data import TAPS, Site
from dashboard.reports.study_dictionary import dictionary
from dashboard.reports.study_figures import Drawn, draw_all
from dashboard.reports.study_sections import (
    Section,
    calibration_part,
    counts_part,
    equipment_part,
    events_part,
    grids_part,
    key_part,
    leads,
    limits_part,
    methods_part,
    modules_part,
    notes,
    record_part,
    ups_part,
    waveforms_part,
)
from dashboard.reports.study_tables import Case, figures, iso, tables_of
from dashboard.texts import Words
from dashboard.theme import PALETTE
from ingest.analysis.supply import matching
from ingest.analysis.supply.study import study

Matched = tuple[str, str, matching.Matches]


def case_of(site: Site) -> Case:
    """Study one site."""
    return Case(site=site, study=study(site.record))


def matched(first: Case, others: Sequence[Case]) -> list[Matched]:
    """Match the events of a module with those of each other one."""
    return [
        (
            f"{first.site.module.id:08x}",
            f"{other.site.module.id:08x}",
            matching.match(
                first.site.record.events, other.site.record.events,
                first.site.record.gaps, other.site.record.gaps,
            ),
        )
        for other in others
    ]  # fmt: skip


def write_study(
    case: Case, others: Sequence[Case], folder: Path, words: Words, zone: tzinfo, written: datetime,
    progress: Callable[[], None] = lambda: None,
) -> int:  # fmt: skip
    """Write everything below `folder`, return the number of files. `written` stands in the citation."""
    pairs = matched(case, others)
    drawn = draw_all(case, words, str(zone))
    progress()
    page = html(case, pairs, drawn, words, zone, written)
    files = [_put(folder / "report.html", page.encode())]
    files.append(_put(folder / "report.pdf", pdf(page)))
    progress()
    for one in drawn:
        files.append(_put(folder / "figures" / f"{one.name}.svg", one.svg))
        files.append(_put(folder / "figures" / f"{one.name}.png", one.png))
    files += write_tables(case, folder / "tables")
    # For machines: the same words whatever the report speaks.
    summary = summary_of(case, pairs, Words(), written)
    files.append(_put(folder / "summary.json", (json.dumps(summary, indent=1) + "\n").encode()))
    progress()
    return len(files)


def write_tables(case: Case, folder: Path) -> list[Path]:
    """Write every table as CSV and Parquet, and the dictionary of their columns."""
    folder.mkdir(parents=True, exist_ok=True)
    files = []
    tables = tables_of(case)
    for name, table in tables.items():
        table.to_csv(folder / f"{name}.csv", index=False, date_format="%Y-%m-%dT%H:%M:%S.%fZ")
        table.to_parquet(folder / f"{name}.parquet", index=False)
        files += [folder / f"{name}.csv", folder / f"{name}.parquet"]
    dictionary(case, tables=tables).to_csv(folder / "dictionary.csv", index=False)
    return [*files, folder / "dictionary.csv"]


def _put(path: Path, data: bytes) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    return path


def software() -> str:
    """Return the version of this software."""
    return version("nightkeel")


def citation(case: Case, words: Words, written: datetime) -> str:
    """Return how to cite the study."""
    return words(
        "study.cite", version=software(), start=iso(case.study.begin_s), end=iso(case.study.end_s),
        written=written.strftime("%Y-%m-%d"),
    )  # fmt: skip


def html(
    case: Case, pairs: Sequence[Matched], drawn: Sequence[Drawn], words: Words, zone: tzinfo,
    written: datetime,
) -> str:  # fmt: skip
    """Return the report as one page that needs nothing else."""

    def local(seconds: float) -> str:
        return datetime.fromtimestamp(seconds, zone).strftime("%Y-%m-%d %H:%M:%S")

    module, record = case.site.module, case.site.record
    name = words("study.site", number=f"{module.id:08x}")
    if module.site or module.bed:
        name = words("study.site_named", site=module.site, bed=module.bed, number=f"{module.id:08x}")
    found: list[Section | None] = [
        record_part(case, words), key_part(case, words, [_inline(d) for d in drawn]),
        calibration_part(case, words), limits_part(case, words), grids_part(case, words),
        counts_part(case, words), waveforms_part(case, words), ups_part(case, words),
        equipment_part(case, words), events_part(case, words, local),
        modules_part(pairs, words) if pairs else None,
        methods_part(case, words, software(), citation(case, words, written)),
    ]  # fmt: skip
    loader = PackageLoader("dashboard.reports", "templates")
    room = Environment(loader=loader, autoescape=True, undefined=StrictUndefined)
    room.filters["decimals"] = words.decimals
    simulated = words("study.simulated") if module.emulated else ""
    subtitle = words(
        "study.subtitle", site=name, tap=words(f"study.tap.{TAPS[case.site.tap]}"),
        start=local(record.begin_s), end=local(record.end_s), zone=str(zone),
    )  # fmt: skip
    return room.get_template("study.html").render(
        language=words.language, title=words("study.title"), subtitle=subtitle, simulated=simulated,
        mark=simulated.split(".")[0], leads=leads(case, words), caution=words("study.caution"),
        caution_short=words("app.caution"), sections=[part for part in found if part], c=PALETTE["paper"],
    )  # fmt: skip


def _inline(drawn: Drawn) -> Any:
    """Return a figure whose SVG stands inside a page: no XML head, names of its own."""
    text = drawn.svg.decode()
    text = text[text.index("<svg") :]
    for sign in ('id="', 'url(#', 'href="#'):
        text = text.replace(sign, f"{sign}{drawn.name}-")
    return {"caption": drawn.caption, "inline": text}


def pdf(page: str) -> bytes:
    """Return a page as PDF."""
    from weasyprint import HTML

    return bytes(HTML(string=page).write_pdf())


def summary_of(case: Case, pairs: Sequence[Matched], words: Words, written: datetime) -> dict[str, Any]:
    """Return the study for machines: figures with coverage, notes, conventions, versions."""
    site, result = case.site, case.study
    skipped = {"voltage", "survival", "week", "sizing", "frequency", "harmonics", "rates", "outside",
               "flicker_limits"}
    return {
        "origin": "SIMULATED" if site.module.emulated else "real module",
        "software": f"nightkeel {software()}",
        "cite": citation(case, words, written),
        "module": f"{site.module.id:08x}",
        "firmware": site.module.firmware,
        "tap": TAPS[site.tap],
        "from": iso(result.begin_s),
        "to": iso(result.end_s),
        "coverage_percent": result.coverage_percent,
        "reference_v": site.record.nominal_v,
        "nominal_hz": site.record.nominal_hz,
        "thresholds_percent": plain(site.thresholds),
        "convention": "start to start",
        "about": dict(site.about),
        "notes": notes(case, words),
        "figures": [plain(one) for one in figures(case)],
        "limits": [plain(one) for part in result.voltage for one in part.limits]
        + [plain(one) for one in (*result.frequency, *result.harmonics, *result.flicker_limits)],
        "voltage": [
            {"from": iso(p.begin_s), "to": iso(p.end_s), "mean_v": p.mean_v, "lowest_v": p.lowest_v,
             "highest_v": p.highest_v, "coverage_percent": p.coverage_percent,
             "histogram": plain(p.histogram)}
            for p in result.voltage
        ],
        **{f.name: plain(getattr(result, f.name)) for f in fields(result) if f.name not in skipped},
        "rapid_changes": {"count": len(site.record.rapid), "found_in": site.record.rapid_from or None},
        "disturbances": {
            "waveforms": len(site.waveforms),
            **Counter(one.disturbance or "not told" for one in site.waveforms),
        },
        "matched": [
            {"modules": [a, b], "pairs": len(m.pairs), "only_first": len(m.only_first),
             "only_second": len(m.only_second), "unknown": len(m.unknown), "offset_s": m.offset_s}
            for a, b, m in pairs
        ],
    }  # fmt: skip


def plain(value: Any) -> Any:
    """Return a value as JSON has it: no number that isn't one, None where there is none."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, np.ndarray | list | tuple):
        return [plain(one) for one in value]
    if isinstance(value, dict):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
