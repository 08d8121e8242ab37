"""Warn of what the record shows but nobody was alarmed by: each note is a text key, a span and its evidence.

A note never claims a cause that the evidence can't tell from others; the words in the catalogue say what
else looks the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from ingest.analysis.breathing.model import BreathTable, Finding
from ingest.analysis.spans import Span, clip, overlap, total_ms, union

CANNOT_TELL_KINK: Final = "note.cannot_tell_kink"
NEXT_CUT_UNPROTECTED: Final = "note.next_cut_unprotected"
TAPS_SWAPPED: Final = "note.taps_swapped"
NOTES: Final = (CANNOT_TELL_KINK, NEXT_CUT_UNPROTECTED, TAPS_SWAPPED)

UNPROTECTED_MS_MIN: Final = 60_000  # house rule: a bypass this long is no transfer
SWAPPED_MS_MIN: Final = 10_000  # house rule: shorter holes are transfers
STORED_BEFORE_MS: Final = 60_000  # an output that dies after its battery died is no swapped tap
BREATHS_ON: Final = 2  # what the output feeds went on: so many breaths in the hole


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """Hold one note: text key, UTC ms span, and its evidence as numbers."""

    key: str
    start_ms: int
    end_ms: int
    evidence: Mapping[str, float]


def night_notes(
    *,
    findings: Sequence[Finding],
    bypass: Sequence[Span],
    mains_lost: Sequence[Span],
    output_lost: Sequence[Span],
    stored_energy: Sequence[Span],
    breaths: BreathTable,
) -> tuple[Note, ...]:
    """Return all notes in time order; spans are UTC ms of the inferred states and of measured holes."""
    found = [
        *hidden_kinks(findings),
        *unprotected(bypass, mains_lost),
        *swapped_taps(mains_lost, output_lost, stored_energy, breaths),
    ]
    return tuple(sorted(found, key=lambda note: (note.start_ms, note.key)))


def hidden_kinks(findings: Sequence[Finding]) -> list[Note]:
    """Return a note for each stretch in which a limit held the pressure: a kink behind it would not show."""
    return [
        Note(key=CANNOT_TELL_KINK, start_ms=f.start_ms, end_ms=f.end_ms, evidence=f.evidence)
        for f in findings
        if "pressure_cannot_tell.kink_behind_limit" in f.cannot_tell
    ]


def unprotected(bypass: Sequence[Span], mains_lost: Sequence[Span]) -> list[Note]:
    """Return a note for each minute and more in bypass: no battery stands behind the output.

    Evidence: minutes, and how many cuts of the mains came while it lasted or ended it.
    """
    return [
        Note(
            key=NEXT_CUT_UNPROTECTED, start_ms=start, end_ms=end,
            evidence={
                "minutes": (end - start) / 60_000.0,
                "cuts": float(sum(start <= a <= end for a, _ in union(mains_lost))),
            },
        )
        for start, end in union(bypass)
        if end - start >= UNPROTECTED_MS_MIN
    ]  # fmt: skip


def swapped_taps(
    mains_lost: Sequence[Span],
    output_lost: Sequence[Span],
    stored_energy: Sequence[Span],
    breaths: BreathTable,
) -> list[Note]:
    """Return holes of the output tap with the mains tap alive, no battery use before, and breathing going on.

    Swapped taps look like this. So does a ventilator that runs on gas alone behind a dead output.
    """
    found = []
    for start, end in union(output_lost):
        if end - start < SWAPPED_MS_MIN or overlap([(start, end)], mains_lost):
            continue
        if clip(stored_energy, start - STORED_BEFORE_MS, start + 1):
            continue
        first, last = np.searchsorted(breaths.start_ms, (start, end))
        if last - first < BREATHS_ON:
            continue
        evidence = {"seconds": total_ms([(start, end)]) / 1000.0, "breaths": float(last - first)}
        found.append(Note(key=TAPS_SWAPPED, start_ms=start, end_ms=end, evidence=evidence))
    return found
