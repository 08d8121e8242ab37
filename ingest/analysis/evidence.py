"""Today's evidence for a cause: one small finding a name, read from the store, said by a key.

'Today' is the last 24 h. A parameter whose name ends in `_at` is a time in UTC ms.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Any, Final

import numpy as np

from firmware_sim.contract import log_codes
from firmware_sim.contract.channels import (
    CHANNELS,
    MODES,
    OXYGEN_STATES,
    PRESETS,
    SENSOR_CONDITIONS,
    STATE_UNDETERMINED,
    SUPPLY_EVENT_KINDS,
    SUPPLY_STATES,
)
from firmware_sim.contract.messages import HEALTH, LOG
from firmware_sim.contract.settings import ID_OF, SETTINGS, defaults
from ingest.analysis.reserves.entries import entered, entered_marks
from ingest.analysis.upkeep import Entry, entries, log_marks

TODAY_MS: Final = 24 * 3_600_000
DAY_MS: Final = 86_400_000
HOUR_MS: Final = 3_600_000
BREATHS: Final = 10
FALL_PCT: Final = 2.0  # below the day's middle by more than this: fallen (house rule)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """Hold one finding: key of the catalogue and its parameters."""

    key: str
    params: Mapping[str, object]


class Look:
    """Look at one module's record at a time, UTC ms; each part is read once at most."""

    def __init__(self, store: Any, module: int, now: int) -> None:
        self.store, self.module, self.now = store, module, now
        self.since = now - TODAY_MS

    @cached_property
    def latest(self) -> Any:
        """Return the newest trend, None before the first."""
        return self.store.latest(self.module)

    @cached_property
    def today(self) -> Any:
        """Return the day in minutes at most."""
        names = ("supply_in", "supply_out", "oxygen", "rail", "product_pressure", "frequency_in")
        return self.store.trends(self.module, self.since, self.now + 1, names, 180)

    @cached_property
    def states(self) -> list[Any]:
        """Return today's supply states."""
        return list(self.store.bands(self.module, self.since, self.now + 1, "supply_state"))

    @cached_property
    def breaths(self) -> Any:
        """Return the breaths of the last hour."""
        return self.store.breaths(self.module, self.now - HOUR_MS, self.now + 1)

    @cached_property
    def in_force(self) -> Any:
        """Return the settings in force, None where the module never reported any."""
        return self.store.settings_at(self.module, self.now)

    @cached_property
    def log(self) -> list[Entry]:
        """Return the maintenance log, oldest first."""
        return [one for one in entries(log_marks(self.store, self.module)) if one.at_ms <= self.now]

    def setting(self, name: str) -> float:
        """Return a setting in its unit."""
        row = SETTINGS[ID_OF[name]]
        return float((defaults() if self.in_force is None else self.in_force.values)[row.id] / row.scale)

    def reading(self, name: str) -> float | None:
        """Return the newest reading of a trend's field, None where there is none."""
        value = None if self.latest is None else self.latest.readings.get(name)
        return None if value is None else float(value)


def _range(quantity: str, field: str, key: str, digits: int) -> Callable[[Look], Seen | None]:
    def found(look: Look) -> Seen | None:
        now = look.reading(field)
        low, high = look.today.minimum[quantity], look.today.maximum[quantity]
        known = ~np.isnan(low)
        if now is None:
            return Seen(key=f"{key}_none", params={})
        shown = {"now": f"{now:.{digits}f}"}
        if not known.any():
            return Seen(key=f"{key}_now", params=shown)
        shown |= {"low": f"{np.nanmin(low):.{digits}f}", "high": f"{np.nanmax(high):.{digits}f}"}
        return Seen(key=key, params=shown)

    return found


def _state(look: Look) -> Seen | None:
    if not look.states:
        return None
    name = SUPPLY_STATES[look.states[-1].code]
    return Seen(key=f"evidence.state_{name}", params={"since_at": look.states[-1].start})


def _before(look: Look) -> Seen | None:
    """Say what the supply was, known for certain, before it became what it is."""
    now = look.states[-1].code if look.states else None
    known = [one for one in look.states[:-1] if one.code not in (now, STATE_UNDETERMINED)]
    if not known:
        return None
    before = known[-1]
    minutes = round((before.end - before.start) / 60_000)
    return Seen(key=f"evidence.before_{SUPPLY_STATES[before.code]}",
                params={"minutes": minutes, "from_at": before.start})  # fmt: skip


def _events(look: Look) -> Seen | None:
    """Count dips and interruptions of the mains today; name the newest."""
    found = [one for one in look.store.supply_events(look.module, look.since, look.now + 1) if one.tap == 0]
    if not found:
        return Seen(key="evidence.no_events", params={})
    newest = found[-1]
    return Seen(key=f"evidence.events_{SUPPLY_EVENT_KINDS[newest.kind]}",
                params={"count": len(found), "newest_at": newest.start,
                        "volts": f"{newest.extreme_v:.0f}"})  # fmt: skip


def _battery(look: Look) -> Seen | None:
    minutes = round(look.setting("battery.proven_minutes"))
    if minutes == 0:
        return Seen(key="evidence.battery_never", params={})
    days = look.now // DAY_MS - round(look.setting("battery.proven_day"))
    left = look.reading("battery")
    if left is None:
        return Seen(key="evidence.battery_tested", params={"minutes": minutes, "days": days})
    return Seen(key="evidence.battery",
                params={"left": int(left // 60), "minutes": minutes, "days": days})  # fmt: skip


def _oxygen_state(look: Look) -> Seen | None:
    if look.latest is None:
        return None
    name = OXYGEN_STATES[look.latest.codes["oxygen_state"]]
    return Seen(key=f"evidence.oxygen_{name}", params={})


def _breath(look: Look) -> Seen | None:
    if not len(look.breaths):
        return Seen(key="evidence.no_breath", params={})
    last = len(look.breaths) - 1
    return Seen(key="evidence.breath", params={
        "last_at": int(look.breaths.t[last]), "peak": f"{float(look.breaths['peak'][last]):.0f}",
        "end": f"{float(look.breaths['end_expiratory'][last]):.0f}",
    })  # fmt: skip


def _peak_trend(look: Look) -> Seen | None:
    """Compare the peaks of the hour's first breaths with the newest ones."""
    peaks = np.asarray(look.breaths["peak"], np.float64)
    if len(peaks) < 2 * BREATHS:
        return None
    first, last = float(np.median(peaks[:BREATHS])), float(np.median(peaks[-BREATHS:]))
    params = {"first": f"{first:.0f}", "last": f"{last:.0f}", "from_at": int(look.breaths.t[0])}
    return Seen(key="evidence.peak_trend", params=params)


def _sensor(channel: str) -> Callable[[Look], Seen | None]:
    place = next(row[0] for row in CHANNELS if row[1] == channel)

    def found(look: Look) -> Seen | None:
        if look.latest is None:
            return None
        code = look.latest.codes["sensors"] >> (3 * place) & 7
        condition = SENSOR_CONDITIONS[min(code, len(SENSOR_CONDITIONS) - 1)]
        return Seen(key=f"evidence.sensor_{condition}", params={})

    return found


def _gauge(look: Look) -> Seen | None:
    told = entered(entered_marks(look.store, look.module, look.now))
    if not told.readings:
        return Seen(key="evidence.no_gauge", params={})
    newest = told.readings[-1]
    return Seen(key="evidence.gauge", params={"bar": f"{newest.gauge_bar:.0f}", "read_at": newest.at_ms})


def _use(look: Look) -> Seen | None:
    if look.latest is None:
        return None
    codes = look.latest.codes
    return Seen(key="evidence.use", params={"mode": MODES[codes["mode"]], "preset": PRESETS[codes["preset"]]})


def _settings(look: Look) -> Seen | None:
    if look.in_force is None:
        return None
    return Seen(key="evidence.settings", params={"since_at": look.in_force.since})


def _boots(look: Look) -> Seen | None:
    count = sum(look.since <= one.utc0 <= look.now for one in look.store.boots(look.module))
    return Seen(key="evidence.boots", params={"count": count})


def _self_test(look: Look) -> Seen | None:
    """Say how the last self-test ended, and the first part that failed."""
    found = look.store.records(LOG, look.module, look.since, look.now + 1)
    tests = np.flatnonzero(np.asarray(found["code"]) == log_codes.SELF_TEST) if len(found) else np.array([])
    if not len(tests):
        return Seen(key="evidence.self_test_none", params={})
    last = int(tests[-1])
    failed = [name for bit, name, _ in log_codes.SELF_TEST_PARTS if int(found["second"][last]) & bit]
    key = f"evidence.self_test_{failed[0] if failed else 'passed'}"
    return Seen(key=key, params={"tested_at": int(found.t[last])})


def _link(look: Look) -> Seen | None:
    link = None if look.latest is None else look.latest.link
    if link is None:
        return None
    bad = sum(link.counters.get(name, 0) for name in ("crc", "stuffing", "short", "length"))
    return Seen(key="evidence.link", params={"seen_at": link.seen, "bad": bad})


def _clock(look: Look) -> Seen | None:
    """Compare the module's clock with the host's, by the newest health record of the last hour."""
    found = look.store.records(HEALTH, look.module, look.now - HOUR_MS, look.now + 1)
    if not len(found):
        return None
    last = len(found) - 1
    if not found["clock_set"][last]:
        return Seen(key="evidence.clock_unset", params={})
    off_s = round(float(found["unix_s"][last]) - float(found.t[last]) / 1000.0)
    return Seen(key="evidence.clock", params={"off": off_s})


def _calibration(look: Look) -> Seen | None:
    day = round(look.setting("calibration.day"))
    if day == 0:
        return Seen(key="evidence.never_calibrated", params={})
    return Seen(key="evidence.calibrated", params={"days": look.now // DAY_MS - day})


def _upkeep(part: str) -> Callable[[Look], Seen | None]:
    def found(look: Look) -> Seen | None:
        done = [one for one in look.log if one.part == part]
        if not done:
            return Seen(key="evidence.upkeep_never", params={"part": part})
        last = done[-1]
        return Seen(key="evidence.upkeep", params={
            "part": part, "deed": last.deed, "days": max(look.now - last.at_ms, 0) // DAY_MS,
        })  # fmt: skip

    return found


def _fell(look: Look) -> Seen | None:
    """Say since when purity has been below what it was: the last quarter of an hour above its own middle."""
    low, mean = look.today.minimum["oxygen"], look.today.mean["oxygen"]
    known = ~np.isnan(mean)
    if known.sum() < 4:
        return None
    middle = float(np.median(mean[known]))
    above = np.flatnonzero(known & (low >= middle - FALL_PCT))
    if not len(above) or above[-1] == np.flatnonzero(known)[-1]:
        return Seen(key="evidence.purity_steady", params={"middle": f"{middle:.1f}"})
    return Seen(key="evidence.purity_fell", params={
        "middle": f"{middle:.1f}", "since_at": int(look.today.t[above[-1]]),
    })  # fmt: skip


EVIDENCE: Final[Mapping[str, Callable[[Look], Seen | None]]] = MappingProxyType(
    {
        "supply_in": _range("supply_in", "in_rms", "evidence.supply_in", 0),
        "supply_out": _range("supply_out", "out_rms", "evidence.supply_out", 0),
        "frequency": _range("frequency_in", "in_frequency", "evidence.frequency", 2),
        "oxygen": _range("oxygen", "oxygen", "evidence.oxygen", 1),
        "rail": _range("rail", "rail", "evidence.rail", 2),
        "product_pressure": _range("product_pressure", "product_pressure", "evidence.product_pressure", 0),
        "state": _state,
        "before": _before,
        "events": _events,
        "battery": _battery,
        "oxygen_state": _oxygen_state,
        "breath": _breath,
        "peak_trend": _peak_trend,
        "sensor_supply_in": _sensor("supply_in"),
        "sensor_supply_out": _sensor("supply_out"),
        "sensor_pressure": _sensor("pressure"),
        "sensor_oxygen": _sensor("oxygen"),
        "gauge": _gauge,
        "use": _use,
        "settings": _settings,
        "boots": _boots,
        "self_test": _self_test,
        "link": _link,
        "purity_fell": _fell,
        "upkeep_battery": _upkeep("battery"),
        "upkeep_filter": _upkeep("filter"),
        "upkeep_sieve": _upkeep("sieve"),
        "upkeep_cell": _upkeep("cell"),
        "clock": _clock,
        "calibration": _calibration,
    }
)
