"""Say the night in structured phrases: text key, parameters, time span; the words are in the catalogue.

The first phrase is always the unmonitored time, the second what isn't measured. There is no phrase for
'all was well': a quiet trace proves nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np

from ingest.analysis.breathing.model import Finding
from ingest.analysis.breathing.trends import Quiet
from ingest.analysis.burden import Burden
from ingest.analysis.notes import Note
from ingest.analysis.spans import Span, total_ms, union

NOT_MEASURED: Final = ("inspired_oxygen", "spo2", "co2", "volume")
COMPARE_NIGHTS_MIN: Final = 3
COMPARE_SHARE: Final = 0.25  # house rule: smaller differences from the usual night aren't mentioned

# Every key with its parameters: the catalogue must know each of them in each language.
PHRASES: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "summary.unmonitored": ("minutes", "spans"),
        "summary.unmonitored_none": (),
        "summary.not_measured": ("what",),
        "summary.pressure_proves_nothing": (),
        "summary.supply_failures": ("count", "longest_min", "carried", "not_carried", "not_known"),
        "summary.output_lost": ("count", "minutes"),
        "summary.bypass": ("minutes",),
        "summary.supply_undetermined": ("minutes",),
        "summary.purity_low": ("limit_percent", "minutes", "lowest_percent"),
        "summary.purity_not_current": ("minutes",),
        "summary.source_stopped": ("count", "minutes"),
        "summary.probably_cylinder": ("minutes",),
        "summary.apart": ("count", "longest_s"),
        "summary.apart_after": ("finding", "minutes_before"),
        "summary.longest_without_breath": ("seconds",),
        "summary.no_breath_seen": (),
        "summary.inferred": ("finding", "count"),
        "summary.seen": ("finding", "count"),
        "summary.note": ("note", "count", "minutes"),
        "summary.alarms": ("count", "per_hour", "high"),
        "summary.alarms_none": (),
        "summary.floods": ("count", "most"),
        "summary.muted": ("minutes",),
        "summary.standing": ("count",),
        "summary.marks": ("count",),
        "summary.due": ("what",),
        "summary.more_than_usual": ("what", "value", "usual", "nights"),
        "summary.less_than_usual": ("what", "value", "usual", "nights"),
        "summary.no_nights_to_compare": (),
    }
)

Value = int | float | str | tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Phrase:
    """Hold one phrase: its text key, parameters by name, and its place on the time axis (None: all night)."""

    key: str
    params: Mapping[str, Value]
    start_ms: int | None = None
    end_ms: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outage:
    """Hold one failure of the supply before the UPS; `carried` None: whether the output lived isn't known."""

    start_ms: int
    end_ms: int
    carried: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierNight:
    """Hold figures of one earlier night, for comparison; None where they weren't to be had."""

    alarms_per_hour: float | None = None
    purity_low_min: float | None = None
    outage_min: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NightFacts:
    """Hold what was found between two times; spans are UTC ms, empty where nothing was.

    `purity_low` and `purity_lowest_percent` belong to `purity_limit_percent`. `quiet` None: no pressure
    was watched. `due` are text keys of what needs doing. `compared` False: a case, whose earlier nights were
    other patients'.
    """

    start_ms: int
    end_ms: int
    unmonitored: Sequence[Span]
    burden: Burden
    high_alarms: int = 0
    standing_alarms: int = 0
    outages: Sequence[Outage] = ()
    output_lost: Sequence[Span] = ()
    bypass: Sequence[Span] = ()
    undetermined: Sequence[Span] = ()
    purity_limit_percent: float = 85.0
    purity_low: Sequence[Span] = ()
    purity_lowest_percent: float | None = None
    purity_not_current: Sequence[Span] = ()
    source_stopped: Sequence[Span] = ()
    probably_cylinder: Sequence[Span] = ()
    findings: Sequence[Finding] = ()
    quiet: Quiet | None = None
    breaths: int = 0
    notes: Sequence[Note] = ()
    marks_ms: Sequence[int] = ()
    due: Sequence[str] = ()
    earlier: Sequence[EarlierNight] = ()
    compared: bool = True


def morning_summary(facts: NightFacts) -> tuple[Phrase, ...]:
    """Return the phrases in reading order; every key and its parameters stand in PHRASES."""
    phrases = (
        *_coverage(facts),
        *_supply(facts),
        *_oxygen(facts),
        *_breathing(facts),
        *_notes(facts),
        *_alarms(facts),
        *_doing(facts),
        *_comparison(facts),
    )
    for phrase in phrases:
        assert tuple(phrase.params) == PHRASES[phrase.key], phrase
    return phrases


def _phrase(key: str, span: Span | None = None, **params: Value) -> Phrase:
    start, end = span if span is not None else (None, None)
    return Phrase(key=key, params=MappingProxyType(params), start_ms=start, end_ms=end)


def _minutes(spans: Iterable[Span]) -> float:
    return total_ms(spans) / 60_000.0


def _longest(spans: Iterable[Span]) -> Span:
    return max(union(spans), key=lambda span: span[1] - span[0])


def _coverage(facts: NightFacts) -> list[Phrase]:
    dark = union(facts.unmonitored)
    first = (
        _phrase("summary.unmonitored", _longest(dark), minutes=_minutes(dark), spans=len(dark))
        if dark
        else _phrase("summary.unmonitored_none")
    )
    return [
        first,
        _phrase("summary.not_measured", what=NOT_MEASURED),
        _phrase("summary.pressure_proves_nothing"),
    ]


def _supply(facts: NightFacts) -> list[Phrase]:
    found = []
    if facts.outages:
        longest = max(facts.outages, key=lambda o: o.end_ms - o.start_ms)
        carried = [outage.carried for outage in facts.outages]
        found.append(
            _phrase(
                "summary.supply_failures", (longest.start_ms, longest.end_ms), count=len(carried),
                longest_min=(longest.end_ms - longest.start_ms) / 60_000.0, carried=carried.count(True),
                not_carried=carried.count(False), not_known=carried.count(None),
            )
        )  # fmt: skip
    if facts.output_lost:
        found.append(
            _phrase(
                "summary.output_lost", _longest(facts.output_lost),
                count=len(union(facts.output_lost)), minutes=_minutes(facts.output_lost),
            )
        )  # fmt: skip
    for key, spans in (("summary.bypass", facts.bypass), ("summary.supply_undetermined", facts.undetermined)):
        if spans:
            found.append(_phrase(key, _longest(spans), minutes=_minutes(spans)))
    return found


def _oxygen(facts: NightFacts) -> list[Phrase]:
    found = []
    if facts.purity_low:
        lowest = facts.purity_lowest_percent
        found.append(
            _phrase(
                "summary.purity_low", union(facts.purity_low)[0], limit_percent=facts.purity_limit_percent,
                minutes=_minutes(facts.purity_low),
                lowest_percent=float("nan") if lowest is None else lowest,
            )
        )  # fmt: skip
    if facts.source_stopped:
        spans = union(facts.source_stopped)
        found.append(
            _phrase("summary.source_stopped", _longest(spans), count=len(spans), minutes=_minutes(spans))
        )
    for key, other in (
        ("summary.purity_not_current", facts.purity_not_current),
        ("summary.probably_cylinder", facts.probably_cylinder),
    ):
        if other:
            found.append(_phrase(key, _longest(other), minutes=_minutes(other)))
    return found


def _breathing(facts: NightFacts) -> list[Phrase]:
    found = []
    apart = [finding for finding in facts.findings if finding.key == "finding.apart"]
    if apart:
        longest = max(apart, key=lambda finding: finding.seconds)
        found.append(
            _phrase(
                "summary.apart", (longest.start_ms, longest.end_ms), count=len(apart),
                longest_s=longest.seconds,
            )
        )  # fmt: skip
        for finding in apart:
            if finding.after is not None:
                found.append(
                    _phrase(
                        "summary.apart_after", (finding.start_ms, finding.end_ms), finding=finding.after,
                        minutes_before=max(finding.evidence["before_min"], 0.0),
                    )
                )  # fmt: skip
    if facts.quiet is not None and facts.breaths > 0:
        span = (facts.quiet.start_ms, facts.quiet.end_ms)
        found.append(_phrase("summary.longest_without_breath", span, seconds=facts.quiet.seconds))
    elif facts.quiet is not None:
        found.append(_phrase("summary.no_breath_seen", (facts.quiet.start_ms, facts.quiet.end_ms)))
    for key in sorted({finding.key for finding in facts.findings} - {"finding.apart"}):
        mine = [finding for finding in facts.findings if finding.key == key]
        kind = "summary.inferred" if mine[0].inference else "summary.seen"
        found.append(_phrase(kind, (mine[0].start_ms, mine[0].end_ms), finding=key, count=len(mine)))
    return found


def _notes(facts: NightFacts) -> list[Phrase]:
    found = []
    for key in sorted({note.key for note in facts.notes}):
        spans = [(note.start_ms, note.end_ms) for note in facts.notes if note.key == key]
        found.append(
            _phrase("summary.note", _longest(spans), note=key, count=len(spans), minutes=_minutes(spans))
        )
    return found


def _alarms(facts: NightFacts) -> list[Phrase]:
    burden = facts.burden
    if burden.activations == 0:
        return [_phrase("summary.alarms_none")]
    rate = float("nan") if burden.per_hour is None else burden.per_hour
    found = [
        _phrase("summary.alarms", count=burden.activations, per_hour=rate, high=facts.high_alarms)
    ]
    if burden.floods:
        worst = max(burden.floods, key=lambda flood: flood.activations)
        found.append(
            _phrase(
                "summary.floods", (worst.start_ms, worst.end_ms), count=len(burden.floods),
                most=worst.activations,
            )
        )  # fmt: skip
    if burden.longest_muted is not None:
        found.append(
            _phrase("summary.muted", burden.longest_muted, minutes=_minutes([burden.longest_muted]))
        )
    if facts.standing_alarms:
        found.append(_phrase("summary.standing", count=facts.standing_alarms))
    return found


def _doing(facts: NightFacts) -> list[Phrase]:
    found = []
    if facts.marks_ms:
        found.append(
            _phrase("summary.marks", (min(facts.marks_ms), max(facts.marks_ms)), count=len(facts.marks_ms))
        )
    return found + [_phrase("summary.due", what=key) for key in facts.due]


def _comparison(facts: NightFacts) -> list[Phrase]:
    """Compare with the median of earlier nights; fewer than three nights are no usual night."""
    if not facts.compared:
        return []
    outage_min = _minutes((o.start_ms, o.end_ms) for o in facts.outages)
    figures = (
        ("alarms_per_hour", facts.burden.per_hour, [n.alarms_per_hour for n in facts.earlier]),
        ("purity_low_min", _minutes(facts.purity_low), [n.purity_low_min for n in facts.earlier]),
        ("outage_min", outage_min, [n.outage_min for n in facts.earlier]),
    )
    found, compared = [], False
    for what, value, before in figures:
        usual_of = [figure for figure in before if figure is not None]
        if value is None or len(usual_of) < COMPARE_NIGHTS_MIN:
            continue
        compared = True
        usual = float(np.median(usual_of))
        if abs(value - usual) <= COMPARE_SHARE * max(usual, 1e-9):
            continue
        key = "summary.more_than_usual" if value > usual else "summary.less_than_usual"
        found.append(_phrase(key, what=what, value=value, usual=usual, nights=len(usual_of)))
    return found if compared else [_phrase("summary.no_nights_to_compare")]
