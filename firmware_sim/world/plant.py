"""The whole plant behind one door: a scenario and a seed in, analog lines and truth out."""

import hashlib
import heapq
from collections.abc import Iterable
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from firmware_sim.contract import PRESSURE_BLOCK, SUPPLY_BLOCK
from firmware_sim.world import (
    breath_truth,
    concentrator,
    cylinder,
    effects,
    samples,
    statistics,
    supply_truth,
    tick,
    truth,
    ups,
    waves,
)
from firmware_sim.world.actions import PLANT_ACTORS
from firmware_sim.world.jit import plain
from firmware_sim.world.scenario import INITIAL, Event, Scenario, check_event
from firmware_sim.world.truth import StateInterval, Truth, TruthLog

BLOCK_MS = tick.BLOCK_MS
_CHUNK_BLOCKS = 600


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """Analog lines at the module's sensors, before any error of the module.

    World time in ms from the start of the scenario; block i covers [first + 100 i, first + 100 (i + 1)).
    Optional channels follow `oxygen_ppm`. `rail_mv` 0: the module is without power. `ups_contact` is the true
    supply state in the contract's numbers.
    """

    first_tick_ms: int
    blocks: int
    supply_in_cv: np.ndarray
    supply_out_cv: np.ndarray
    pressure_ucm: np.ndarray
    oxygen_ppm: np.ndarray
    flow_ok: np.ndarray
    product_pressure_pa: np.ndarray
    battery_cv: np.ndarray
    ups_output_ma: np.ndarray
    ups_contact: np.ndarray
    surge_peak_v: np.ndarray
    ambient_pa: np.ndarray
    rail_mv: np.ndarray


_PER_BLOCK = {"supply_in_cv": SUPPLY_BLOCK, "supply_out_cv": SUPPLY_BLOCK, "pressure_ucm": PRESSURE_BLOCK}
_LINE_NAMES = tuple(f.name for f in fields(Lines))[2:]


class _Queued(NamedTuple):
    """An event in order of its block; events of one block keep the order of the scenario."""

    block: int
    order: int
    event: Event


def _sources_digest() -> str:
    """Return a digest of all that the compiled run is made from."""
    folder = Path(__file__).parent
    contract = folder.parent / "contract"
    names = sorted([*folder.glob("*.py"), contract / "__init__.py", contract / "channels.py"])
    return hashlib.sha256(b"".join(name.read_bytes() for name in names)).hexdigest()


run_blocks = tick.build(_sources_digest())


class Plant:
    """One state, one seed: the whole plant. The outcome does not depend on how the calls are split."""

    def __init__(self, scenario: Scenario, seed: int | None = None) -> None:
        self.scenario = scenario
        self.seed = scenario.seed if seed is None else seed
        self.settings = effects.first_settings(scenario)
        self.state = _first_state(scenario, self.settings)
        self.block = 0
        self.taps_swapped = bool(scenario.initial.get("taps_swapped", 0))
        self._order = 0
        self._queue: list[_Queued] = []
        self._truth = TruthLog(scenario.nominal_v)
        self._finders = np.stack([supply_truth.new_finder(), supply_truth.new_finder()])
        self._event_rows = np.zeros((16_384, supply_truth.ROW_WIDTH), dtype=np.int64)
        self._breath_rows = np.zeros((2_048, breath_truth.ROW_WIDTH))
        self._state_rows = np.zeros((8_192, 3), dtype=np.int64)
        self._dips: list[tuple[int, int, float]] = []
        self._rings: list[tuple[int, int, int, int]] = []
        self.events = tuple(sorted(scenario.events, key=lambda event: event.t_s)) + statistics.draw(
            scenario, self.seed
        )
        self._flags = np.zeros(0, dtype=np.int32)
        self._tables = (
            waves.sine_table(),
            waves.shape_table(waves.MAINS_SHAPE),
            waves.shape_table(waves.INVERTER_SHAPE),
        )
        self._take_up(self.events)

    @property
    def now_ms(self) -> int:
        """World time of the next block."""
        return self.block * BLOCK_MS

    def rig_events(self) -> tuple[Event, ...]:
        """Return the events that the rig plays: person, board, link, host."""
        return tuple(event for event in self.events if event.actor not in PLANT_ACTORS)

    def inject(self, event: Event) -> None:
        """Take up one more event; one in the past happens now."""
        check_event(self.scenario.name, event)
        late = max(event.t_s, self.now_ms / 1000)
        self._take_up([Event(t_s=late, actor=event.actor, action=event.action, params=event.params)])

    def _take_up(self, events: Iterable[Event]) -> None:
        for event in events:
            if event.actor == "mains" and event.action in effects.SCHEDULED:
                self._dips += effects.dips_of(event)
                self._rings += effects.rings_of(event)
                for record in effects.ring_truth(event):
                    self._truth.add(record, record.end_ms)
            else:
                block = max(int(event.t_s * 1000.0 + 0.5) // BLOCK_MS, self.block)
                heapq.heappush(self._queue, _Queued(block, self._order, event))
                self._order += 1
        self._waves = samples.Waves(*self._tables, *effects.schedules(self._dips, self._rings))
        carrier = effects.with_schedules(self.state.supply.carrier, self._waves)
        self.state = self.state._replace(supply=self.state.supply._replace(carrier=carrier))

    def advance(self, blocks: int) -> Lines:
        """Run whole blocks of 100 ms and return their lines."""
        assert blocks > 0, "at least one block"
        first = self.block
        lines: dict[str, np.ndarray] = {
            name: np.empty(blocks * _PER_BLOCK.get(name, 1), dtype=np.int32) for name in _LINE_NAMES
        }
        self._flags = np.empty(blocks, dtype=np.int32)
        while self.block < first + blocks:
            self._apply_due()
            upto = min(first + blocks, self.block + _CHUNK_BLOCKS)
            if self._queue:
                upto = min(upto, self._queue[0].block)
            self._run(upto - self.block, lines, self.block - first)
        self._watch(first, lines)
        return Lines(first_tick_ms=first * BLOCK_MS, blocks=blocks, **lines)

    def _apply_due(self) -> None:
        while self._queue and self._queue[0].block <= self.block:
            event = heapq.heappop(self._queue).event
            outcome = effects.apply(event, self.settings, self.state, self.now_ms)
            self.settings, self.state = outcome.settings, outcome.state
            for record in outcome.begins:
                self._truth.begin(record)
            self._truth.end(outcome.ends, self.now_ms)
            for record in outcome.moments:
                self._truth.add(record, record.end_ms)
            if outcome.follow_up:
                self._take_up(outcome.follow_up)

    def _run(self, blocks: int, lines: dict[str, np.ndarray], at: int) -> None:
        """Run without any event in between."""
        cut: dict[str, Any] = {}
        for name, line in lines.items():
            width = _PER_BLOCK.get(name, 1)
            cut[name] = line[at * width : (at + blocks) * width]
        if self.taps_swapped:
            cut["supply_in_cv"], cut["supply_out_cv"] = cut["supply_out_cv"], cut["supply_in_cv"]
        out = tick.Out(
            **cut,
            plant_flags=self._flags[at : at + blocks],
            finders=self._finders,
            event_rows=self._event_rows,
            breath_rows=self._breath_rows,
            state_rows=self._state_rows,
        )
        self.state = run_blocks(self.block, blocks, self.seed, self.settings, self.state, self._waves, out)
        self.block += blocks
        self._collect()

    def _collect(self) -> None:
        """Take the rows of truth that the run wrote."""
        supply, breathing = self.state.supply, self.state.breathing
        self._truth.supply_rows(self._event_rows[: supply.carrier.rows].copy())
        if breathing.breath.rows:
            self._truth.breath_rows.append(self._breath_rows[: breathing.breath.rows].copy())
        self._truth.states += [
            (int(row[0]), int(row[1]), int(row[2])) for row in self._state_rows[: supply.rows]
        ]
        self.state = self.state._replace(
            supply=supply._replace(carrier=supply.carrier._replace(rows=0), rows=0),
            breathing=breathing._replace(breath=breathing.breath._replace(rows=0)),
        )

    def _watch(self, first: int, lines: dict[str, np.ndarray]) -> None:
        """Keep the true intervals that follow from lines and flags."""
        runs, oxygen = self._truth.intervals, lines["oxygen_ppm"]
        masks = {
            "purity_below_82": truth.held_below(oxygen, 820_000, 830_000, runs["purity_below_82"].standing),
            "purity_below_70": truth.held_below(oxygen, 700_000, 710_000, runs["purity_below_70"].standing),
            "oxygen_flow_stopped": lines["flow_ok"] == 0,
            "concentrator_stopped": self._flags & tick.FLAG_CONCENTRATOR == 0,
            "cylinder_feeding": self._flags & tick.FLAG_CYLINDER != 0,
            "drive_lost": self._flags & tick.FLAG_DRIVE == 0,
            "module_dark": lines["rail_mv"] == 0,
        }
        for kind, mask in masks.items():
            runs[kind].feed(first * BLOCK_MS, BLOCK_MS, mask)

    def truth(self) -> list[Truth]:
        """Return what happened so far, by start time; what lasts has no end."""
        return self._truth.records(self._finders)

    def supply_states(self) -> list[StateInterval]:
        """Return the true supply state in intervals; the output is 'dead' below 10 % of nominal."""
        return self._truth.state_intervals()

    def transfers(self) -> list[tuple[int, str, str]]:
        """Return (ms, from, to) of every change of the true supply state."""
        states = self.supply_states()
        return [(b.start_ms, a.state, b.state) for a, b in zip(states, states[1:], strict=False)]

    def breaths(self) -> dict[str, np.ndarray]:
        """Return the true breaths that ended (see `truth.breath_columns`)."""
        return self._truth.breaths()

    def efforts(self) -> dict[str, np.ndarray]:
        """Return the true efforts of the patient during ventilation."""
        return self._truth.efforts()

    def battery_min(self) -> float:
        """Return the minutes carried by the battery so far."""
        spans = [s for s in self.supply_states() if s.state == "stored_energy"]
        total_ms = sum((self.now_ms if s.end_ms is None else s.end_ms) - s.start_ms for s in spans)
        return total_ms / 60_000


def _first_state(scenario: Scenario, settings: tick.Settings) -> tick.State:
    start = {name: float(scenario.initial.get(name, row[0])) for name, row in INITIAL.items()}
    capacity = settings.ups.battery_ah * settings.ups.health * start["battery_share"]
    source = ups.UpsState(
        mode=ups.MODE_NORMAL if start["ups_normal"] >= 0.5 else ups.MODE_BYPASS,
        fast_ah=capacity * settings.ups.fast_share,
        slow_ah=capacity * (1.0 - settings.ups.fast_share),
    )
    zero = tick.State()
    nominal_square = plain(tick.square_at)(100.0, settings.mains.nominal_v)
    running = start["bed"] > 0.0
    return tick.State(
        supply=zero.supply._replace(
            mains=zero.supply.mains._replace(
                frequency_hz=settings.mains.frequency_hz, level_pct=settings.mains.level_pct
            ),
            carrier=zero.supply.carrier._replace(
                step_out=waves.phase_step(settings.mains.frequency_hz, 3200),
                peak_in_q8=effects.first_peak(settings),
                mean_square_in=nominal_square,
                mean_square_out=nominal_square,
                inside_halves=1000,
            ),
            ups=source,
        ),
        gas=zero.gas._replace(
            concentrator=concentrator.ConcentratorState(
                bed=start["bed"],
                ready_s=1e3 if running else 0.0,
                run_s=1e3 if running else 0.0,
                outlet_kpa=settings.concentrator.outlet_kpa if running else 0.0,
                hours_s=start["concentrator_h"] * 3600.0,
            ),
            cylinder=cylinder.CylinderState(
                content_l=cylinder.content_at(start["gauge_bar"], settings.cylinder.water_l)
            ),
            site=zero.gas.site._replace(oxygen_ppm=start["site_ppm"]),
        ),
        module=zero.module._replace(charge_mah=settings.module.cell_mah * start["cell_share"]),
    )
