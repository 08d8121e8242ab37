"""Turn what a person typed into what a study reads; say in one sentence what can't be."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

from dashboard.reports.study_tables import iso
from dashboard.site_marks import moment
from dashboard.texts import Words
from dashboard.view import zone_of
from ingest.errors import UserError
from ingest.store.reader import Module, Reader

REFERENCE_V_MIN, REFERENCE_V_MAX = 50.0, 500.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """Hold module, period (UTC ms, end excluded), reference (None: the module's) and zone of a study.

    `others`: modules that recorded in the same period, to match events with.
    """

    module: Module
    others: tuple[Module, ...]
    start: int
    end: int
    reference_v: float | None
    zone: ZoneInfo


def ask(
    reader: Reader, store: Path, words: Words, begin: str | None, end: str | None, reference: str | None,
    wanted: str | None, zone: str, out: Path,
) -> Asked:  # fmt: skip
    """Return what to study; raise UserError for what is not possible."""
    if out.exists() and not out.is_dir():
        raise UserError(words("study.bad.folder", folder=out))
    found = zone_of(zone)
    if found is None:
        raise UserError(words("study.bad.zone", text=zone))
    module = module_of(reader, store, words, wanted)
    span = reader.span(module.id)
    first, last = span or (0, 0)
    start = first if begin is None else moment(begin, found, words)
    stop = last if end is None else moment(end, found, words)
    named = {"store": store, "module": f"{module.id:08x}", "first": _iso(first), "last": _iso(last)}
    if span is not None and stop <= start and end is not None and begin is not None:
        raise UserError(words("study.bad.order", start=begin, end=end))
    inside = span is not None and first < stop and start < last and start < stop
    if not inside or not reader.monitored(module.id, start, stop):
        raise UserError(words("study.bad.no_data", start=_iso(start), end=_iso(stop), **named))
    others = [
        one for one in reader.modules() if one.id != module.id and reader.monitored(one.id, start, stop)
    ]
    return Asked(
        module=module, others=tuple(others), start=start, end=stop, reference_v=_reference(reference, words),
        zone=found,
    )  # fmt: skip


def module_of(reader: Reader, store: Path, words: Words, wanted: str | None) -> Module:
    """Return the module of a number as typed, None: the one heard last; raise UserError for another."""
    modules: Sequence[Module] = reader.modules()
    if not modules:
        raise UserError(words("study.bad.empty", store=store))
    if wanted is None:
        return max(modules, key=lambda one: one.last_utc)
    for one in modules:
        if f"{one.id:08x}" == wanted.lower().removeprefix("0x").zfill(8):
            return one
    known = ", ".join(f"{one.id:08x}" for one in modules)
    raise UserError(words("study.bad.module", store=store, text=wanted, known=known))


def _iso(utc_ms: int) -> str:
    return str(iso(utc_ms / 1000))


def _reference(text: str | None, words: Words) -> float | None:
    if text is None:
        return None
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not REFERENCE_V_MIN <= value <= REFERENCE_V_MAX:
        raise UserError(words("study.bad.reference", text=text))
    return value
