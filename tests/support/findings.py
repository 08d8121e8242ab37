"""Check what a scenario says must be found against what stands in the store: one function a kind.

Each returns None, or a sentence on what is missing. Times are ms of true time from the scenario's start.
"""

import numpy as np

from dashboard.morning import read_morning
from firmware_sim.contract import alarms, channels, messages
from firmware_sim.world.scenario import Finding
from tests.support.nights import Played

TAPS = {"in": channels.SUPPLY_IN, "out": channels.SUPPLY_OUT}
RAISED = alarms.TRANSITIONS.index("raised")
# Transitions after which a condition stands that stood before: a grouped or escalated one is raised already.
FOREVER = 1 << 60


class Night:
    """One played night, opened: its module, its records in true time."""

    def __init__(self, played: Played) -> None:
        self.played = played
        self.reader = played.reader()
        self.module = self.reader.modules()[0].id
        self.end_ms = played.rig.step * 100

    def records(self, message_id: int) -> tuple[np.ndarray, dict]:
        """Return true times in ms and columns of all records of one message."""
        found = self.reader.records(message_id, self.module, 0, FOREVER)
        times = [self.played.true_ms(int(i), int(tick)) for i, tick in zip(found.id, found.tick, strict=True)]
        return np.array(times, dtype=np.int64), dict(found.columns)

    def supply_events(self) -> list[dict]:
        """Return closed supply events: start and duration in ms, extreme in per cent of nominal."""
        times, rows = self.records(messages.SUPPLY_EVENT)
        nominal = self.played.rig.scenario.nominal_v
        closed = channels.EVENT_PHASES.index("closed")
        found = []
        for k in range(len(times)):
            if rows["phase"][k] == closed:
                found.append(
                    {
                        "tap": int(rows["tap"][k]),
                        "kind": channels.SUPPLY_EVENT_KINDS[int(rows["kind"][k])],
                        "start_ms": self.start_ms(times[k], rows, k),
                        "duration_ms": int(rows["duration"][k]),
                        "extreme_pct": 100 * float(rows["extreme"][k]) / nominal,
                        "flags": int(rows["flags"][k]),
                    }
                )
        return found

    def start_ms(self, time_ms: int, rows: dict, k: int) -> int:
        """Return the true time of a row's start_tick; `time_ms` is that of the record itself."""
        boot_ms = max(step * 100 for step in self.played.rig.boot_steps if step * 100 <= time_ms)
        return boot_ms + int(rows["start_tick"][k])

    def alarms(self, name: str | None, priority: str | None = None) -> list[dict]:
        """Return when a condition (None: any) was raised, and its priority then."""
        times, rows = self.records(messages.ALARM)
        found = []
        for k in np.flatnonzero(rows["transition"] == RAISED):
            row = alarms.ROWS[int(rows["row"][k])].name
            now = alarms.PRIORITIES[int(rows["priority"][k])]
            if name in (None, row) and priority in (None, now):
                found.append({"at_ms": int(times[k]), "priority": now, "row": row})
        return found

    def stands(self, name: str, at_ms: float) -> bool:
        """Tell whether a condition was raised before and not yet over at a time."""
        times, rows = self.records(messages.ALARM)
        mine = (rows["row"] == alarms.ID_OF[name]) & (times < at_ms)
        ends = np.isin(rows["transition"], [RAISED, alarms.TRANSITIONS.index("cleared")]) & mine
        return bool(np.any(ends)) and int(rows["transition"][np.flatnonzero(ends)[-1]]) == RAISED

    def trend(self, column: str, finding: Finding) -> np.ndarray:
        """Return a trend column inside a finding's window."""
        times, rows = self.records(messages.TREND)
        return rows[column][(times > finding.from_s * 1000) & (times <= finding.to_s * 1000)]


def inside(value: float, bounds: list[float]) -> bool:
    """Tell whether low <= value <= high."""
    return bounds[0] <= value <= bounds[1]


def check_alarm(night: Night, f: Finding) -> str | None:
    """Demand the condition raised in the window, within its time, with its priority (or never).

    Without a time to be within, one that stands already will do.
    """
    low, high = (f.from_s - f.tolerance_s) * 1000, (f.to_s + f.tolerance_s) * 1000
    if not f.never and "within_s" in f.values:
        high = (f.from_s + f.values["within_s"] + f.tolerance_s) * 1000
    condition, priority = f.values.get("condition"), f.values.get("priority")
    if f.never:
        found = [row for row in night.alarms(condition, priority) if low <= row["at_ms"] <= high]
        return f"alarm {found[0]['row']} raised at {found[0]['at_ms'] / 1000:.1f} s" if found else None
    raised = night.alarms(condition)
    found = [row for row in raised if low <= row["at_ms"] <= high]
    if not found and "within_s" not in f.values and night.stands(condition, low):
        return None
    if not found:
        times = [round(row["at_ms"] / 1000, 1) for row in raised][:9]
        return f"alarm {condition} not raised in {low / 1000:.1f}..{high / 1000:.1f} s, but at {times}"
    if priority and found[0]["priority"] != priority:
        return f"alarm {condition} has priority {found[0]['priority']}, not {priority}"
    return None


def check_supply_event(night: Night, f: Finding) -> str | None:
    """Demand an event of the kind on the tap with the stated residual and length (or none)."""
    low, high = (f.from_s - f.tolerance_s) * 1000, (f.to_s + f.tolerance_s) * 1000
    found = [
        e
        for e in night.supply_events()
        if low <= e["start_ms"] <= high
        and ("tap" not in f.values or e["tap"] == TAPS[f.values["tap"]])
        and ("event" not in f.values or e["kind"] == f.values["event"])
    ]
    if f.never:
        return f"supply event {found[0]} should not be there" if found else None
    fit = [
        e
        for e in found
        if inside(e["extreme_pct"], f.values.get("residual_pct", [0, 1e9]))
        and inside(e["duration_ms"] / 1000, f.values.get("duration_s", [0, 1e9]))
    ]
    return None if fit else f"no supply event {dict(f.values)} from {f.from_s} s; near it: {found[:5]}"


def _state_share(night: Night, f: Finding, from_s: float) -> float:
    times, rows = night.records(messages.TREND)
    chosen = rows["supply_state"][(times > from_s * 1000) & (times <= f.to_s * 1000)]
    wanted = channels.SUPPLY_STATES.index(f.values["state"])
    return float(np.mean(chosen == wanted)) if len(chosen) else 0.0


def check_supply_state(night: Night, f: Finding) -> str | None:
    """Demand the inferred state for the stated share of the window, after the time it may take (or never)."""
    share = _state_share(night, f, f.from_s + (0 if f.never else f.values.get("within_s", 0)))
    if f.never:
        return f"state {f.values['state']} shown for {share:.1%}" if share else None
    needed = f.values.get("at_least_share", 0.95)
    return None if share >= needed else f"state {f.values['state']} for {share:.1%}, needed {needed:.0%}"


def check_supply_transfers(night: Night, f: Finding) -> str | None:
    """Count changes into stored energy."""
    times, rows = night.records(messages.SUPPLY_STATE)
    chosen = (times > f.from_s * 1000) & (times <= f.to_s * 1000)
    count = int(np.sum(rows["state"][chosen] == channels.STATE_STORED_ENERGY))
    return None if inside(count, f.values["count"]) else f"{count} transfers, expected {f.values['count']}"


def check_oxygen(night: Night, f: Finding) -> str | None:
    """Demand readings inside the range at the window's last fifth, when the sensor's lag is over."""
    value = night.trend("oxygen", f)
    tail = value[-max(1, len(value) // 5) :]
    if not len(tail) or not inside(float(np.nanmedian(tail)), f.values["pct"]):
        return f"oxygen reads {np.nanmedian(tail) if len(tail) else None}, expected {f.values['pct']}"
    return None


def check_oxygen_state(night: Night, f: Finding) -> str | None:
    """Demand the word beside the reading at some time of the window."""
    wanted = channels.OXYGEN_STATES.index(f.values["state"])
    seen = set(night.trend("oxygen_state", f).tolist())
    return None if wanted in seen else f"oxygen states {seen} without {f.values['state']}"


def check_breaths(night: Night, f: Finding) -> str | None:
    """Count breaths (of a kind) that begin in the window."""
    times, rows = night.records(messages.BREATH)
    chosen = (times >= f.from_s * 1000) & (times < f.to_s * 1000)
    if "kind" in f.values:
        chosen &= rows["kind"] == channels.BREATH_KINDS.index(f.values["kind"])
    count = int(np.sum(chosen))
    return None if inside(count, f.values["count"]) else f"{count} breaths, expected {f.values['count']}"


def check_pressure(night: Night, f: Finding) -> str | None:
    """Demand peak, lowest or resting pressure of the window in the stated range."""
    high, low = night.trend("pressure_max", f), night.trend("pressure_min", f)
    measured = {
        "peak_cmh2o": float(np.nanmax(high)),
        "low_cmh2o": float(np.nanmin(low)),
        "rest_cmh2o": float(np.nanmedian(low)),
    }
    wrong = {k: (round(measured[k], 2), v) for k, v in f.values.items() if not inside(measured[k], v)}
    return f"pressure {wrong}" if wrong else None


def check_gap(night: Night, f: Finding) -> str | None:
    """Demand a hole in the trends where the module was off, or none where the link's ring must bridge it."""
    times, _ = night.records(messages.TREND)
    edges = np.concatenate(
        ([f.from_s * 1000], times[(times > f.from_s * 1000) & (times < f.to_s * 1000)], [f.to_s * 1000])
    )
    longest_s = float(np.max(np.diff(edges))) / 1000
    if f.values["reason"] == "none":
        return f"{longest_s:.0f} s without trends" if longest_s > 2 + f.tolerance_s else None
    return None if longest_s > 30 else f"trends everywhere, longest hole {longest_s:.0f} s"


def check_unmonitored(night: Night, f: Finding) -> str | None:
    """Demand the minutes that the store itself reports as unmonitored."""
    start = night.played.rig.start_utc_ms
    spans = night.reader.unmonitored(
        night.module, start + round(f.from_s * 1000), start + round(f.to_s * 1000)
    )
    minutes = sum(span.end - span.start for span in spans) / 60_000
    return (
        None if inside(minutes, f.values["minutes"]) else f"{minutes:.1f} min, expected {f.values['minutes']}"
    )


def check_sound(night: Night, f: Finding) -> str | None:
    """Demand sound in every window of the length, or few enough activations."""
    if "activations_per_10_min" in f.values:
        times, rows = night.records(messages.ALARM)
        raised = times[(rows["transition"] == RAISED) & (times > f.from_s * 1000) & (times < f.to_s * 1000)]
        most = max((int(np.sum((raised >= t) & (raised < t + 600_000))) for t in raised), default=0)
        limit = f.values["activations_per_10_min"]
        return None if inside(most, limit) else f"{most} activations in 10 min, expected {limit}"
    heard = [t for t in night.played.sounds_ms if f.from_s * 1000 <= t <= f.to_s * 1000]
    longest_s = float(np.max(np.diff([f.from_s * 1000, *heard, f.to_s * 1000]))) / 1000
    return None if longest_s <= f.values["every_s"] else f"{longest_s:.1f} s without sound"


def check_setting(night: Night, f: Finding) -> str | None:
    """Demand a mode, or 'limits of previous use: confirm', shown in the window."""
    name, value = f.values["name"], f.values["value"]
    if name == "mode":
        seen = set(night.trend("mode", f).tolist())
        return None if channels.MODES.index(value) in seen else f"modes {seen} without {value}"
    assert name == "limits_unconfirmed", name
    flags = night.trend("flags", f).astype(int) & messages.FLAG_LIMITS_UNCONFIRMED
    wanted = bool(value) != f.never
    return None if bool(np.any(flags)) == wanted else f"limits_unconfirmed is {bool(np.any(flags))}"


def check_order(night: Night, f: Finding) -> str | None:
    """Demand that order of sequence is order of tick within each boot, and no second is missing or twice."""
    for message in (messages.TREND, messages.ALARM, messages.SUPPLY_EVENT):
        found = night.reader.records(message, night.module, 0, FOREVER)
        order = np.argsort(found.id)
        if np.any(np.diff(found.id[order] // (1 << 32) * (1 << 40) + found.tick[order]) < 0):
            return f"message {message} is out of order"
    times, _ = night.records(messages.TREND)
    return None if np.all(np.diff(times) > 0) else "trends twice"


def check_note(night: Night, f: Finding) -> str | None:
    """Demand the note in the morning summary, with a place that touches the window."""
    start = night.played.rig.start_utc_ms
    low, high = start + f.from_s * 1000, start + f.to_s * 1000
    key, seen = f"note.{f.values['text_key']}", []
    module = night.reader.modules()[0]
    for one in night.reader.nights(module.id):
        morning = read_morning(night.reader, module, one)
        said = {phrase.params["note"] for phrase in morning.phrases if phrase.key == "summary.note"}
        notes = [note for note in morning.facts.notes if note.key in said]
        seen += [(note.key, (note.start_ms - start) / 1000, (note.end_ms - start) / 1000) for note in notes]
        if any(note.key == key and note.start_ms <= high and note.end_ms >= low for note in notes):
            return None
    return f"no {key} between {f.from_s} and {f.to_s} s; said: {seen}"


CHECKS = {
    name.removeprefix("check_"): check for name, check in list(globals().items()) if name.startswith("check_")
}
