"""Read a store: any number of readers, never a lock against the writer, times in UTC milliseconds.

with open_reader("night.db") as reader:
    module = reader.modules()[0].id
    start, end = reader.span(module)
    view = reader.trends(module, start, end, ["pressure", "oxygen"], pixels=1200)
"""

from collections.abc import Iterator, Sequence
from pathlib import Path
from types import TracebackType

from ingest.analysis.rehearsal.recording import Recording
from ingest.store.reader import alarms, bench, events, now, places, recordings, tables, trends
from ingest.store.reader.base import Base
from ingest.store.reader.rows import (
    AlarmInterval,
    AlarmTransition,
    Band,
    Boot,
    Capture,
    ClockIntervals,
    Cycles,
    HalfCycles,
    HostCommand,
    Interval,
    Latest,
    LinkSession,
    Mark,
    Module,
    Night,
    Records,
    Series,
    SettingsInForce,
    SupplyEvent,
    Trends,
)
from ingest.store.reader.trends import UNITS
from ingest.store.schema import BANDS, QUANTITIES

__all__ = [
    "BANDS",
    "QUANTITIES",
    "UNITS",
    "AlarmInterval",
    "AlarmTransition",
    "Band",
    "Boot",
    "Capture",
    "ClockIntervals",
    "Cycles",
    "HalfCycles",
    "HostCommand",
    "Interval",
    "Latest",
    "LinkSession",
    "Mark",
    "Module",
    "Night",
    "Reader",
    "Records",
    "Series",
    "SettingsInForce",
    "SupplyEvent",
    "Trends",
    "open_reader",
    "tables",
]


class Reader:
    """Answer questions about one store. `start` and `end` are UTC ms, `end` excluded."""

    def __init__(self, path: str | Path) -> None:
        """Open a store for reading; raise UserError when it is missing, unreadable or newer."""
        self.base = Base(path)

    def __enter__(self) -> "Reader":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self.base.close()

    def modules(self) -> list[Module]:
        """Return all modules in order of first contact."""
        return places.modules(self.base)

    def boots(self, module: int) -> list[Boot]:
        """Return the boots of a module in order of first contact, each with its clock."""
        return self.base.boots(module)

    def nights(self, module: int, offset_ms: int = 0) -> list[Night]:
        """Return each noon-to-noon day with data, oldest first; `offset_ms` is local time minus UTC."""
        return places.nights(self.base, module, offset_ms)

    def stretch(self, module: int, start: int, end: int) -> Night:
        """Return any stretch of time as if it were a night, for what is said of one."""
        return places.stretch(self.base, module, start, end)

    def span(self, module: int | None = None) -> tuple[int, int] | None:
        """Return first and last UTC of the trends of a module (None: of all), None when there are none."""
        return places.span(self.base, module)

    def monitored(self, module: int, start: int, end: int) -> list[Interval]:
        """Return the stretches with a trend each second."""
        return places.monitored(self.base, module, start, end)

    def unmonitored(self, module: int, start: int, end: int) -> list[Interval]:
        """Return the stretches without trends: module dark, or records lost for good."""
        return places.unmonitored(self.base, module, start, end)

    def gaps(self, module: int, start: int, end: int) -> list[Interval]:
        """Return the stretches from which any record is missing for good, with the reason."""
        return places.gaps(self.base, module, start, end)

    def sessions(self, module: int) -> list[LinkSession]:
        """Return the link sessions of a module with their counters, oldest first."""
        return places.sessions(self.base, module)

    def trends(
        self,
        module: int,
        start: int,
        end: int,
        quantities: Sequence[str] | None = None,
        pixels: int | None = None,
    ) -> Trends:
        """Return quantities (names of QUANTITIES; None: all) in at most `pixels` bins (None: each second)."""
        return trends.trends(self.base, module, start, end, quantities, pixels)

    def by_clock(
        self, module: int, start: int, end: int, quantities: Sequence[str], interval_ms: int
    ) -> ClockIntervals:
        """Return the minutes of a window put together by whole intervals of the clock."""
        return trends.by_clock(self.base, module, start, end, quantities, interval_ms)

    def bands(self, module: int, start: int, end: int, column: str) -> list[Band]:
        """Return the stretches of one code of the trends (a name of BANDS)."""
        return trends.bands(self.base, module, start, end, column)

    def wave(self, module: int, start: int, end: int) -> Series:
        """Return the circuit pressure at 100 S/s in cmH2O."""
        return trends.wave(self.base, module, start, end)

    def records(self, message_id: int, module: int, start: int, end: int) -> Records:
        """Return all records of one message as columns: `messages.BREATH`, `HEALTH`, `SUPPLY_STATE` ..."""
        return self.base.records(message_id, module, start, end)

    def breaths(self, module: int, start: int, end: int) -> Records:
        """Return the breaths: kind, peak, plateau, end_expiratory, mean, minimum, ti, te, rate, flags."""
        from firmware_sim.contract.messages import BREATH

        return self.base.records(BREATH, module, start, end)

    def last_breath(self, module: int) -> int | None:
        """Return when the newest breath was recorded, in UTC ms; None: none ever."""
        return now.last_breath(self.base, module)

    def supply_states(self, module: int, start: int, end: int) -> Records:
        """Return the changes of the inferred supply state with their evidence."""
        from firmware_sim.contract.messages import SUPPLY_STATE

        return self.base.records(SUPPLY_STATE, module, start, end)

    def alarms(self, module: int, start: int, end: int) -> list[AlarmInterval]:
        """Return the alarms that stood inside the window, whole, by start."""
        return alarms.intervals(self.base, module, start, end)

    def alarm_transitions(self, module: int, start: int, end: int) -> list[AlarmTransition]:
        """Return every alarm transition as recorded."""
        return alarms.transitions(self.base, module, start, end)

    def supply_events(self, module: int, start: int, end: int) -> list[SupplyEvent]:
        """Return the supply events that touch the window, by start."""
        return events.supply_events(self.base, module, start, end)

    def captures(self, module: int, start: int, end: int, kind: int | None = None) -> list[Capture]:
        """Return the raw waveforms that begin in the window."""
        return events.captures(self.base, module, start, end, kind)

    def half_cycles(self, module: int, start: int, end: int) -> list[HalfCycles]:
        """Return the half-cycle rms runs that begin in the window."""
        return events.half_cycles(self.base, module, start, end)

    def supply_cycles(self, module: int, start: int, end: int, tap: int) -> Cycles:
        """Return the 10/12-cycle rms values of one tap (0 before the UPS, 1 after it)."""
        return events.supply_cycles(self.base, module, start, end, tap)

    def settings_at(self, module: int, utc_ms: int) -> SettingsInForce | None:
        """Return the settings in force at a time, None when the module never reported any."""
        return events.settings_at(self.base, module, utc_ms)

    def settings_history(self, module: int) -> list[SettingsInForce]:
        """Return every change of settings, oldest first."""
        return events.settings_history(self.base, module)

    def inputs(self, module: int, start: int, end: int) -> Iterator[tuple[int, int, int, int, bytes]]:
        """Yield (boot, tick of the last step, steps, whole, changes) of the alarm engine's inputs."""
        return events.inputs(self.base, module, start, end)

    def recordings(self, module: int, start: int, end: int) -> list[Recording]:
        """Return what a rehearsal needs of each boot that touches the window, from its beginning."""
        return recordings.recordings(self.base, module, start, end)

    def host_commands(self, module: int) -> list[HostCommand]:
        """Return all commands sent to a module, oldest first."""
        return events.host_commands(self.base, module)

    def marks(
        self,
        module: int | None = None,
        start: int | None = None,
        end: int | None = None,
        kind: str | None = None,
        text: str | None = None,
    ) -> list[Mark]:
        """Return the newest version of each mark that was not removed, by time."""
        return events.marks(self.base, module, start, end, kind, text)

    def mark_history(self, mark: int) -> list[Mark]:
        """Return all versions of one mark, oldest first."""
        return events.mark_history(self.base, mark)

    def raw_codes(self, module: int, start: int, end: int) -> bench.RawCodes:
        """Return what the converter gave beside what it meant, a record each ten seconds."""
        return bench.raw_codes(self.base, module, start, end)

    def calibrations(self, module: int) -> list[bench.Calibration]:
        """Return every calibration that a module reported, oldest first."""
        return bench.calibrations(self.base, module)

    def clock_fits(self, module: int, most: int) -> list[bench.ClockFit]:
        """Return the newest fits of the newest boot's clock, oldest first."""
        return bench.clock_fits(self.base, module, most)

    def health(self, module: int) -> bench.Health | None:
        """Return what a module said of itself last, None before the first time."""
        return bench.health(self.base, module)

    def power_ups(self, module: int, most: int) -> list[bench.PowerUp]:
        """Return the newest starts of a module, newest first."""
        return bench.power_ups(self.base, module, most)

    def latest(self, module: int) -> Latest | None:
        """Return the newest trend, standing alarms and link of a module, None before the first trend."""
        return now.latest(self.base, module)


def open_reader(path: str | Path) -> Reader:
    """Open a store for reading; raise UserError when it is missing, unreadable or newer."""
    return Reader(path)
