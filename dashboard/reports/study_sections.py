"""Say a study in words and tables: the sections of its report, every text from the catalogue."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import groupby

from dashboard.formats import MISSING, number
from dashboard.reports.study_data import CLOCK_ERROR_S, RATE_HZ, TAPS
from dashboard.reports.study_figures import Drawn
from dashboard.reports.study_flicker import lamp_of
from dashboard.reports.study_tables import Case, figures, iso
from dashboard.supply_words import about_time, length
from dashboard.texts import Words
from ingest.analysis.supply import classify, failures
from ingest.analysis.supply.harmonics import highest_order
from ingest.analysis.supply.limits import Judgement
from ingest.analysis.supply.matching import Matches
from ingest.analysis.supply.records import Figure, Note, SupplyEvent

EVENTS_SHOWN = 60
# Rates of a shorter record are called extrapolations (common practice: four weeks of a supply at least).
SHORT_S = 28 * 86400.0
# Rows of the figures' table, by the name the analysis gives them.
ROW_KEYS = {"time outside +-10 %": "outside"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Hold one table as text."""

    heads: Sequence[str]
    rows: Sequence[Sequence[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """Hold one part of the report."""

    title: str
    texts: Sequence[str] = ()
    items: Sequence[str] = ()
    tables: Sequence[Table] = ()
    figures: Sequence[Drawn] = field(default=())


def leads(case: Case, words: Words) -> list[str]:
    """Return what must be read first: what was not watched and what isn't measured."""
    study = case.study
    whole, percent = study.end_s - study.begin_s, study.coverage_percent
    first = (
        words("study.lead_none", whole=about_time(whole, words), percent=number(percent, 1))
        if percent > 99.9999
        else words(
            "study.lead", dark=about_time(whole * (1 - percent / 100), words),
            whole=about_time(whole, words), percent=number(percent, 1),
        )
    )  # fmt: skip
    return [first, words("study.not_measured", order=_order(case))]


def _order(case: Case) -> int:
    return highest_order(RATE_HZ, case.site.record.nominal_hz or 50.0)


def notes(case: Case, words: Words) -> list[str]:
    """Return what must be said of the record."""
    said = [_note(note, words) for note in case.study.notes]
    site = case.site
    if site.means_only:
        said.append(words("study.note.means", count=site.means_only))
    if site.threshold_changes:
        said.append(words("study.note.thresholds", count=site.threshold_changes))
    nominal, reference = site.module.nominal_v, site.record.nominal_v
    if reference and nominal and reference != nominal:
        said.append(words("study.note.reference", nominal=nominal, reference=number(reference, 0)))
    return said or [words("study.record_none")]


def _note(note: Note, words: Words) -> str:
    at = iso(note.at_s) or MISSING
    return words(f"study.note.{note.key}", count=note.count, span=about_time(note.seconds, words), at=at)


def record_part(case: Case, words: Words) -> Section:
    """Return the section on the record, with what people said of the site."""
    about = [[name, value] for name, value in case.site.about.items()]
    tables = [Table(heads=(words("study.about"), ""), rows=about)] if about else []
    return Section(title=words("study.record"), items=notes(case, words), tables=tables)


def key_part(case: Case, words: Words, drawn: Sequence[Drawn]) -> Section:
    """Return the figures of the study and its pictures."""
    heads = [words(f"study.column.{n}") for n in ("figure", "value", "interval", "coverage")]
    rows = [_figure_row(one, words) for one in figures(case)]
    texts = [words("study.key_note")]
    whole = case.study.end_s - case.study.begin_s
    if whole < SHORT_S:
        texts.append(words("study.key_short", whole=about_time(whole, words)))
    return Section(
        title=words("study.key"), texts=texts, tables=[Table(heads=heads, rows=rows)],
        figures=drawn,
    )  # fmt: skip


def _figure_row(one: Figure, words: Words) -> list[str]:
    digits = 0 if one.value is not None and abs(one.value) >= 1000 else 2
    bounds = MISSING
    if one.low is not None or one.high is not None:
        bounds = f"{number(one.low, digits)} … {number(one.high, digits)} {one.unit}"
    value = f"{number(one.value, digits)} {one.unit}".strip()
    if one.value is None:
        value = words("study.missing", reason=words(f"study.reason.{one.reason}"))
    return [words(f"study.row.{ROW_KEYS.get(one.name, one.name)}"), value, bounds,
            number(one.coverage_percent, 1)]  # fmt: skip


def band_name(one: Judgement, words: Words) -> str:
    """Return the name of a limit in words."""
    last = one.name.rsplit(" ", 1)[-1]
    if one.name.startswith("harmonic "):
        return words("study.band.harmonic", order=last)
    if one.name.startswith("total distortion"):
        return words("study.band.total", order=last)
    # A full stop would divide the key.
    name = one.name.replace(".", "·")
    return words(f"study.band.{name}")


def limits_part(case: Case, words: Words) -> Section:
    """Return the limits, each calibration's voltage by itself; of several weeks the figures of the worst."""
    heads = [words(f"study.column.{n}") for n in ("limit", "verdict", "inside", "bounds", "coverage")]
    study = case.study
    parts = [part.limits for part in study.voltage]
    parts += [study.frequency, study.harmonics, study.flicker_limits]
    groups = [list(same) for part in parts for _, same in groupby(part, key=lambda one: one.name)]
    table = Table(heads=heads, rows=[_limit_row(same, words) for same in groups])
    texts = [words("study.limits_note")]
    if any(len(same) > 1 for same in groups):
        texts.append(words("study.limits_weeks"))
    return Section(title=words("study.limits"), texts=texts, tables=[table])


def _limit_row(same: Sequence[Judgement], words: Words) -> list[str]:
    """Return one limit's row over all the periods that were judged by it."""
    worst = min(same, key=lambda one: (one.high_percent, one.low_percent))
    count = Counter(one.verdict for one in same)
    said = [words(f"study.verdict.{verdict}") for verdict in count]
    if len(same) > 1:
        said = [f"{text}: {n}" for text, n in zip(said, count.values(), strict=True)]
    return [
        band_name(worst, words), ", ".join(said), number(worst.inside_percent, 1),
        f"{number(worst.low_percent, 1)} … {number(worst.high_percent, 1)}",
        number(worst.coverage_percent, 1),
    ]  # fmt: skip


def grids_part(case: Case, words: Words) -> Section:
    """Return the tables of dips and swells."""
    residuals = [(row, f"{row}  {100 * low:.0f}–{100 * high:.0f} %") for row, low, high in classify.DIP_ROWS]
    heights = [(row, f"{row}  ≥ {100 * low:.0f} %") for row, low in classify.SWELL_ROWS]
    dips = _grid(case.study.dips, classify.DIP_COLUMNS_S, residuals, words)
    swells = _grid(case.study.swells, classify.SWELL_COLUMNS_S, heights, words)
    cover = words("study.counts_note", percent=number(case.study.coverage_percent, 1))
    return Section(title=words("study.dips"), texts=[cover], tables=[dips, swells])


def _grid(
    counts: dict[str, int], ends_s: Sequence[float], rows: Sequence[tuple[str, str]], words: Words
) -> Table:
    ends = [words("study.length.ms", n=round(1000 * end)) for end in ends_s]
    heads = [words("study.column.residual"), *(f"≤ {end}" for end in ends)]
    body = [[name, *(str(counts[f"{row}{n + 1}"]) for n in range(len(ends_s)))] for row, name in rows]
    return Table(heads=heads, rows=[*body, [words("study.outside"), str(counts["outside"])]])


def counts_part(case: Case, words: Words) -> Section:
    """Return the other counts."""
    study, inter = case.study, case.study.interruptions
    lengths = ("short", "long", "undecided")
    rows = [[words(f"study.row.{name}"), str(getattr(inter, name))] for name in lengths]
    rows += [
        [words("study.row.itic", name=words(f"study.region.{name}")), str(n)]
        for name, n in sorted(study.itic.items())
    ]
    rows += [[words("study.row.semi"), str(study.semi_f47_failed)]]
    rows += [[words("study.row.category", name=name), str(n)] for name, n in sorted(study.categories.items())]
    rows += [[words("study.row.sarfi", x=number(x, 0)), str(n)] for x, n in study.sarfi.items()]
    note = words("study.counts_note", percent=number(study.coverage_percent, 1))
    heads = ("", words("study.column.value"))
    return Section(title=words("study.counts"), texts=[note], tables=[Table(heads=heads, rows=rows)])


def ups_part(case: Case, words: Words) -> Section:
    """Return what the UPS saw."""
    ups, battery = case.study.ups, case.study.battery
    if ups is None:
        return Section(title=words("study.ups"), texts=[words("study.ups_none")])
    hours = [
        [words("study.row.state", name=words(f"study.state.{s}")), number(h, 2)] for s, h in ups.hours.items()
    ]
    rows = [
        *hours,
        [words("study.row.transfers"), str(ups.transfers)],
        [words("study.row.output_fell"), str(ups.output_fell)],
        [words("study.row.longest"), about_time(60 * ups.longest_min, words)],
        [words("study.row.deepest"), _with(ups.deepest_percent, "%")],
        [words("study.row.recharge"), _with(ups.shortest_recharge_min, "min")],
        [words("study.row.tests"), str(battery.tests)],
        [words("study.row.trend"), _with(battery.minutes_a_year, "min")],
    ]
    note = words("study.counts_note", percent=number(ups.coverage_percent, 1))
    heads = ("", words("study.column.value"))
    return Section(title=words("study.ups"), texts=[note], tables=[Table(heads=heads, rows=rows)])


def equipment_part(case: Case, words: Words) -> Section | None:
    """Return which lengths of dip stopped which equipment, None where nobody watched any."""
    rows = [
        [
            r.equipment, _class(r.longer_than_s, r.up_to_s, words), str(r.survived), str(r.tripped),
            _pu(r.survived_down_to_pu), _pu(r.tripped_up_to_pu),
        ]
        for r in case.study.ride_through
        if r.survived or r.tripped
    ]  # fmt: skip
    stray = case.study.unexplained_trips
    if not rows and not stray:
        return None
    texts = [words("study.equipment_note")]
    if stray:
        texts.append(words("study.equipment_stray", count=len(stray)))
    names = ("equipment", "length", "survived", "tripped", "survived_to", "tripped_to")
    table = Table(heads=[words(f"study.column.{n}") for n in names], rows=rows)
    return Section(title=words("study.equipment"), texts=texts, tables=[table])


def _class(above_s: float, up_to_s: float, words: Words) -> str:
    def said(seconds: float) -> str:
        return words("study.length.ms", n=round(1000 * seconds)) if seconds < 1 else (
            words("study.length.s", n=round(seconds)))  # fmt: skip

    return f"> {said(above_s)}" if up_to_s == float("inf") else f"≤ {said(up_to_s)}"


def _pu(value: float | None) -> str:
    return MISSING if value is None else f"{number(100 * value, 1)} %"


def _with(value: float | None, unit: str) -> str:
    return MISSING if value is None else f"{number(value, 1)} {unit}"


def events_part(case: Case, words: Words, local: Callable[[float], str]) -> Section:
    """Return the longest events; the files hold all."""
    pairs = list(zip(case.site.record.events, case.site.labels, strict=True))
    if not pairs:
        return Section(title=words("study.events"), texts=[words("study.events_none")])
    shown = sorted(pairs, key=lambda pair: -pair[0].duration_s)[:EVENTS_SHOWN]
    names: tuple[str, ...] = ("start", "kind", "length", "extreme", "cell", "itic", "label")
    if not any(label for _, label in pairs):
        names = names[:-1]
    shown.sort(key=lambda pair: pair[0].start_s)
    rows = [_event_row(event, label, words, local)[: len(names)] for event, label in shown]
    cut = len(pairs) > len(shown)
    return Section(
        title=words("study.events"),
        texts=[words("study.events_cut", n=len(shown), all=len(pairs))] if cut else (),
        tables=[Table(heads=[words(f"study.column.{n}") for n in names], rows=rows)],
    )


def _event_row(event: SupplyEvent, label: str, words: Words, local: Callable[[float], str]) -> list[str]:
    level, seconds = event.extreme_pu, event.duration_s
    whole = event.kind in ("dip", "swell")
    cell = classify.dip_cell if event.kind == "dip" else classify.swell_cell
    region = classify.itic_position(level, seconds)
    extreme = number(100 * level, 1)
    return [
        local(event.start_s),
        words(f"study.kind.{event.kind}"),
        length(event, words),
        words("study.length.at_least", text=extreme) if event.clipped else extreme,
        (cell(level, seconds) or words("study.outside")) if whole else MISSING,
        words(f"study.region.{region}") if whole else MISSING,
        label,
    ]


def waveforms_part(case: Case, words: Words) -> Section | None:
    """Return what the captured waveforms were named, None where none was captured."""
    found = case.site.waveforms
    if not found:
        return None
    count = Counter(one.disturbance for one in found)
    rows = [
        [words(f"study.disturbance.{name or 'lost'}"), str(n)]
        for name, n in sorted(count.items(), key=lambda pair: -pair[1])
    ]
    heads = ("", words("study.column.waveforms"))
    of = sum(one.kind in ("dip", "swell") for one in case.site.record.events)
    return Section(
        title=words("study.waveforms"), texts=[words("study.waveforms_note", n=len(found), all=of)],
        tables=[Table(heads=heads, rows=rows)],
    )  # fmt: skip


def calibration_part(case: Case, words: Words) -> Section | None:
    """Return voltages by calibration, None where it did not change."""
    parts = case.study.voltage
    if len(parts) < 2:
        return None
    names = ("from", "to", "value", "coverage")
    rows = [
        [iso(p.begin_s) or "", iso(p.end_s) or "", _with(p.mean_v, "V"), number(p.coverage_percent, 1)]
        for p in parts
    ]
    heads = [words(f"study.column.{name}") for name in names]
    return Section(
        title=words("study.calibrations"), texts=[words("study.calibrations_note")],
        tables=[Table(heads=heads, rows=rows)],
    )  # fmt: skip


def modules_part(pairs: Sequence[tuple[str, str, Matches]], words: Words) -> Section:
    """Return what two modules each saw."""
    tables = []
    for first, second, found in pairs:
        rows = [
            [words("study.row.pairs"), str(len(found.pairs))],
            [words("study.row.only", module=first), str(len(found.only_first))],
            [words("study.row.only", module=second), str(len(found.only_second))],
            [words("study.row.unknown"), str(len(found.unknown))],
            [words("study.row.offset"), _with(found.offset_s, "s")],
        ]
        tables.append(Table(heads=(f"{first} – {second}", ""), rows=rows))
    note = words("study.modules_note", error=number(CLOCK_ERROR_S, 2))
    return Section(title=words("study.modules"), texts=[note], tables=tables)


def methods_part(case: Case, words: Words, version: str, cite: str) -> Section:
    """Return conventions, thresholds and versions, so that the study can be cited and done again."""
    site, record = case.site, case.site.record
    tap = words(f"study.tap.{TAPS[site.tap]}")
    origin = words("study.origin.simulated" if site.module.emulated else "study.origin.real")
    limits = words("study.method.thresholds_none")
    if site.thresholds is not None:
        named = {key.removeprefix("study."): number(v, 1) for key, v in site.thresholds.items()}
        limits = words("study.method.thresholds", **named)
    items = [
        words("study.method.sampling", tap=tap),
        words("study.method.kept"),
        limits,
        words("study.method.stamps", convention=words("study.convention")),
        words("study.method.reference", reference=number(record.nominal_v, 0),
              hertz=number(record.nominal_hz, 0)),
        words("study.method.frequency"),
        words(f"study.method.rapid.{record.rapid_from}"),
        _flicker_method(case, words),
        words("study.method.harmonics", order=_order(case)),
        words("study.method.gaps", blocks=case.study.between.block_days, seed=failures.SEED,
              resamples=failures.RESAMPLES),
        words("study.method.clock", error=number(CLOCK_ERROR_S, 2)),
        words("study.method.states"),
        words("study.method.sources"),
        words("study.method.version", version=version, firmware=site.module.firmware, origin=origin),
        cite,
    ]  # fmt: skip
    return Section(title=words("study.method"), items=items)


def _flicker_method(case: Case, words: Words) -> str:
    moved, reference = case.study.flicker, case.site.record.nominal_v
    if moved.pst_p95 is None or reference is None:
        return words("study.method.flicker_none")
    error = number(moved.error_percent, 0)
    return words("study.method.flicker", lamp=words(f"study.lamp.{lamp_of(reference).name}"), error=error)
