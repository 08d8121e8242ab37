"""Join what the store holds of one night with what the analyses say of it.

Nothing here judges: thresholds and rules are those of `ingest.analysis`, limits those of the module's
settings. Times in UTC ms.
"""

from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from threading import Lock

import numpy as np

from dashboard.frames import Alarm, Floats, Times
from dashboard.queries import alarm_of
from ingest.analysis.breathing.model import BreathTable, Finding
from ingest.analysis.breathing.night import SILENCE_OF, Watched, breathing_findings
from ingest.analysis.breathing.trends import longest_without_breath
from ingest.analysis.burden import Burden, Episode, alarm_burden
from ingest.analysis.exposure import Exposure, by_hand, exposure_totals
from ingest.analysis.hand import HandPoint, hand_points
from ingest.analysis.mark_kinds import notes
from ingest.analysis.notes import night_notes
from ingest.analysis.spans import Span, clip, outside, overlap, union
from ingest.analysis.summary import EarlierNight, NightFacts, Outage, Phrase, morning_summary
from ingest.store.reader import Mark, Module, Night, Reader, breathing, tables

EARLIER_NIGHTS = 7
PURITY_LIMIT_PERCENT = 85.0
KEPT = 16
MINUTE_MS = 60_000
# What somebody must still do when these stand at the end of the night: text keys.
DUE_OF = {
    "limits_unconfirmed": "due.limits_unconfirmed",
    "calibration_due": "due.calibration",
    "clock_unset": "due.clock",
    "battery_not_proven": "due.battery_test",
    "log_nearly_full": "due.log",
}
STALE_OXYGEN = ("not_current", "fault")
NO_PRESSURE = ("open", "short")


@dataclass(frozen=True, slots=True, kw_only=True)
class Morning:
    """Hold all that is said of one night of one module between two times."""

    module: Module
    facts: NightFacts
    phrases: tuple[Phrase, ...]
    alarms: list[Alarm]
    marks: list[Mark]
    exposure: Exposure
    breaths: BreathTable
    preset: str | None
    before: list[Night]
    hand: tuple[HandPoint, ...] = ()

    @property
    def burden(self) -> Burden:
        """Return the alarm load."""
        return self.facts.burden

    @property
    def apart(self) -> list[Finding]:
        """Return the disconnections, oldest first."""
        return [finding for finding in self.facts.findings if finding.key == "finding.apart"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Spans:
    """Hold the named stretches of a night."""

    watched: tuple[Span, ...]
    dark: tuple[Span, ...]
    breathing: dict[str, tuple[Span, ...]]
    supply: dict[str, tuple[Span, ...]]
    oxygen: dict[str, tuple[Span, ...]]
    mains_lost: tuple[Span, ...]
    output_lost: tuple[Span, ...]


def read_morning(reader: Reader, module: Module, night: Night, *, compare: bool = True) -> Morning:
    """Read one night and work out all that is said of it; earlier nights are compared, unless told not to.

    A case is compared with nothing: the nights before it were other patients'.
    """
    start, end = night.first, night.last
    spans = _spans(reader, module.id, start, end)
    # A breath's record comes after the next one's inspiration: the first may have begun before the night.
    table = breathing.breath_table(reader.breaths(module.id, start, end)).within(start, end)
    traces = breathing.traces(reader.wave(module.id, start, end)) if any(spans.breathing.values()) else []
    watched = [
        one for mode, parts in spans.breathing.items() for one in _watched(reader, module.id, mode, parts)
    ]
    findings = breathing_findings(table, traces, watched)
    alarms = [alarm_of(one) for one in reader.alarms(module.id, start, end)]
    written = reader.marks(module.id, start, end)
    marks, hand = notes(written), by_hand(written)
    t, purity = _purity(reader, module.id, start, end, spans)
    low = _low_spans(t, purity)
    breathed = overlap(spans.watched, _attended(reader, module.id, start, end))
    before = _before(reader, module.id, night) if compare else []
    facts = NightFacts(
        start_ms=start, end_ms=end, unmonitored=spans.dark,
        burden=_burden(reader, module.id, start, end, alarms, spans.dark),
        high_alarms=sum(one.priority == 3 and start <= one.start < end for one in alarms),
        standing_alarms=sum(one.end is None for one in alarms),
        outages=_outages(spans), output_lost=union(spans.output_lost), bypass=spans.supply["bypass"],
        undetermined=spans.supply["undetermined"], purity_limit_percent=PURITY_LIMIT_PERCENT, purity_low=low,
        purity_lowest_percent=float(np.nanmin(purity)) if low else None,
        purity_not_current=spans.oxygen["not_current"],
        source_stopped=_stood(alarms, "source_stopped", end),
        probably_cylinder=spans.oxygen["probably_cylinder"], findings=findings,
        quiet=longest_without_breath(table, breathed), breaths=len(table),
        notes=night_notes(
            findings=findings, bypass=spans.supply["bypass"], mains_lost=spans.mains_lost,
            output_lost=spans.output_lost, stored_energy=spans.supply["stored_energy"], breaths=table,
        ),
        marks_ms=[mark.utc for mark in marks],
        due=[key for name, key in DUE_OF.items() if any(a.name == name and a.end is None for a in alarms)],
        earlier=[_figures(reader, module.id, one) for one in before], compared=compare,
    )  # fmt: skip
    states = {name: spans.supply[name] for name in ("stored_energy", "bypass", "dead")}
    return Morning(
        module=module, facts=facts, phrases=morning_summary(facts), alarms=alarms, marks=marks,
        exposure=exposure_totals(
            start_ms=start, end_ms=end, trend_ms=t, source_purity_percent=purity, breaths=table,
            states=states, oxygen_flow=hand.oxygen_flow, agent_level=hand.agent_level, agent=hand.agent,
            carrier_l_min=hand.carrier_l_min,
        ),
        breaths=table, preset=_preset(reader, module.id, start, end), before=before,
        hand=hand_points(written),
    )  # fmt: skip


def _spans(reader: Reader, module: int, start: int, end: int) -> _Spans:
    watched = tuple((one.start, one.end) for one in reader.monitored(module, start, end))
    supply = _named(reader, module, start, end, "supply_state", tables.SUPPLY_STATES)
    broken = [
        (band.start, band.end)
        for band in reader.bands(module, start, end, "sensors")
        if tables.sensor_condition(band.code, "pressure") in NO_PRESSURE
    ]
    modes = _named(reader, module, start, end, "mode", tables.MODES)
    seen = overlap(watched, outside(broken, start, end))
    holes: tuple[list[Span], list[Span]] = ([], [])
    for event in reader.supply_events(module, start, end):
        if tables.SUPPLY_EVENT_KINDS[event.kind] == "interruption":
            last = end if event.duration_ms is None else event.start + event.duration_ms
            holes[min(event.tap, 1)].append((event.start, last))
    return _Spans(
        watched=watched,
        dark=outside(watched, start, end),
        breathing={mode: overlap(seen, modes[mode]) for mode in SILENCE_OF},
        supply=supply,
        oxygen=_named(reader, module, start, end, "oxygen_state", tables.OXYGEN_STATES),
        mains_lost=clip([*holes[0], *_cut_alarms(reader, module, start, end)], start, end),
        output_lost=clip([*holes[1], *supply["dead"]], start, end),
    )


def _named(
    reader: Reader, module: int, start: int, end: int, column: str, names: Sequence[str]
) -> dict[str, tuple[Span, ...]]:
    bands = reader.bands(module, start, end, column)
    return {
        name: clip(((b.start, b.end) for b in bands if b.code == code), start, end)
        for code, name in enumerate(names)
    }


def _attended(reader: Reader, module: int, start: int, end: int) -> tuple[Span, ...]:
    """Return the stretches of all modes but standby."""
    named = _named(reader, module, start, end, "mode", tables.MODES)
    return union(span for name, spans in named.items() if name != "standby" for span in spans)


def _watched(reader: Reader, module: int, mode: str, spans: Sequence[Span]) -> list[Watched]:
    """Cut the stretches where the settings changed; a store without settings has no limit to judge by."""
    history = reader.settings_history(module)
    out = []
    for place, one in enumerate(history):
        since = one.since if place else 0
        until = history[place + 1].since if place + 1 < len(history) else 1 << 60
        for start, end in clip(spans, since, until):
            limit = tables.setting_value(one.values, "pressure.disconnect")
            delay = tables.disconnect_delay_s(one.values)
            silence = tables.setting_value(one.values, SILENCE_OF[mode])
            out.append(
                Watched(
                    start_ms=start, end_ms=end, apart_limit_cmh2o=limit, apart_delay_s=delay, mode=mode,
                    silence_s=silence,
                )
            )  # fmt: skip
    return out


def _purity(reader: Reader, module: int, start: int, end: int, spans: _Spans) -> tuple[Times, Floats]:
    """Return source purity by the second in %, NaN where the reading was not current."""
    found = reader.trends(module, start, end, ["oxygen"])
    purity = found.mean["oxygen"].copy()
    for name in STALE_OXYGEN:
        for low, high in spans.oxygen[name]:
            first, last = np.searchsorted(found.t, (low, high))
            purity[first:last] = np.nan
    return found.t, purity


def _low_spans(t: Times, purity: Floats) -> tuple[Span, ...]:
    """Return the stretches under the limit, the seconds joined where they follow each other."""
    low = np.flatnonzero(np.nan_to_num(purity, nan=100.0) < PURITY_LIMIT_PERCENT)
    if not low.size:
        return ()
    breaks = np.flatnonzero((np.diff(low) > 1) | (np.diff(t[low]) > 1500))
    heads, tails = np.r_[0, breaks + 1], np.r_[breaks, low.size - 1]
    return union((int(t[low[a]]) - 500, int(t[low[b]]) + 500) for a, b in zip(heads, tails, strict=True))


def _burden(
    reader: Reader, module: int, start: int, end: int, alarms: Sequence[Alarm], dark: Sequence[Span]
) -> Burden:
    bit = tables.TREND_FLAGS["audio_paused"]
    muted = [(b.start, b.end) for b in reader.bands(module, start, end, "flags") if b.code & bit]
    presses = [one.acknowledged for one in alarms if one.acknowledged is not None]
    presses += [first for first, _ in union(muted) if first > start]
    return alarm_burden(
        [_episode(one) for one in alarms],
        start_ms=start, end_ms=end, unmonitored=dark, responses_ms=presses, muted=muted,
    )  # fmt: skip


def _episode(one: Alarm) -> Episode:
    priority = tables.PRIORITIES[one.priority]
    return Episode(condition=one.name, priority=priority, start_ms=one.start, end_ms=one.end)


def _outages(spans: _Spans) -> list[Outage]:
    """Return the cuts before the UPS; whether the output lived is known only where all of it was recorded."""
    found = []
    for start, end in spans.mains_lost:
        if overlap([(start, end)], spans.output_lost):
            carried: bool | None = False
        else:
            carried = None if overlap([(start, end)], spans.dark) else True
        found.append(Outage(start_ms=start, end_ms=end, carried=carried))
    return found


def _stood(alarms: Sequence[Alarm], name: str, end: int) -> tuple[Span, ...]:
    return union((one.start, end if one.end is None else one.end) for one in alarms if one.name == name)


def _cut_alarms(reader: Reader, module: int, start: int, end: int) -> tuple[Span, ...]:
    return _stood([alarm_of(one) for one in reader.alarms(module, start, end)], "supply_interrupted", end)


def _preset(reader: Reader, module: int, start: int, end: int) -> str | None:
    bands = reader.bands(module, start, end, "preset")
    return tables.PRESETS[bands[-1].code] if bands else None


def _before(reader: Reader, module: int, night: Night) -> list[Night]:
    shift = night.start % 86_400_000
    found = reader.nights(module, (43_200_000 - shift) % 86_400_000)
    return [one for one in found if one.start < night.start][-EARLIER_NIGHTS:]


def _figures(reader: Reader, module: int, night: Night) -> EarlierNight:
    """Return the few figures by which nights are compared, without the night's breaths and waves."""
    start, end = night.first, night.last
    spans = _spans(reader, module, start, end)
    t, purity = _purity(reader, module, start, end, spans)
    hours = night.monitored_ms / 3_600_000
    begun = sum(start <= one.start < end for one in reader.alarms(module, start, end))
    return EarlierNight(
        alarms_per_hour=begun / hours if hours > 0 else None,
        purity_low_min=_minutes(_low_spans(t, purity)),
        outage_min=_minutes(spans.mains_lost),
    )


def _minutes(spans: Sequence[Span]) -> float:
    return sum(b - a for a, b in union(spans)) / MINUTE_MS


class Mornings:
    """Keep the newest answers, so that a night is worked out once; one night at a time."""

    def __init__(self) -> None:
        self._kept: OrderedDict[tuple[object, ...], Morning] = OrderedDict()
        self._lock = Lock()

    def get(self, key: tuple[object, ...], work: Callable[[], Morning]) -> Morning:
        """Return what was kept under a key, else do the work."""
        with self._lock:
            found = self._kept.pop(key, None) or work()
            self._kept[key] = found
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
            return found
