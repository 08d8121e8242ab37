"""One step of the whole plant: mains → UPS → concentrator → oxygen or cylinder → bellows → lung.

Order within a block of 100 ms: ten steps of 10 ms (mains, UPS mode, 32 samples, bellows, patient, circuit,
breaths), then the slow parts once (battery, concentrator, cylinder, gas, cell). What a part sees of another
is the value of the step before.
"""

import math
from typing import NamedTuple

import numpy as np

from firmware_sim.contract import PRESSURE_BLOCK, SUPPLY_BLOCK, SUPPLY_RATE_HZ
from firmware_sim.world import (
    breath_truth,
    circuit,
    concentrator,
    cylinder,
    gas_site,
    mains,
    module_cell,
    patient,
    samples,
    sources,
    ups,
    ventilator,
)
from firmware_sim.world.breath_truth import BreathState
from firmware_sim.world.circuit import CircuitSettings, CircuitState
from firmware_sim.world.concentrator import ConcentratorSettings, ConcentratorState
from firmware_sim.world.cylinder import CylinderSettings, CylinderState
from firmware_sim.world.gas_site import SiteSettings, SiteState
from firmware_sim.world.jit import compiled, compiled_and_kept
from firmware_sim.world.mains import MainsSettings, MainsState
from firmware_sim.world.module_cell import CellSettings, CellState
from firmware_sim.world.patient import PatientSettings, PatientState
from firmware_sim.world.samples import Carrier
from firmware_sim.world.smooth import clip
from firmware_sim.world.ups import UpsSettings, UpsState
from firmware_sim.world.ventilator import VentilatorSettings, VentilatorState

STEP_S = 0.01
BLOCK_S = 0.1
BLOCK_MS = 100
_HZ_TO_STEP = 4294967296.0 / SUPPLY_RATE_HZ
# Share of a surge that reaches the load, with and without the double conversion in between (assumed).
_SHIELDED, _BARE = 0.25, 0.9

FLAG_CONCENTRATOR, FLAG_CYLINDER, FLAG_DRIVE = 1, 2, 4


class Settings(NamedTuple):
    """The settings of every part."""

    mains: MainsSettings = MainsSettings()
    ups: UpsSettings = UpsSettings()
    concentrator: ConcentratorSettings = ConcentratorSettings()
    cylinder: CylinderSettings = CylinderSettings()
    site: SiteSettings = SiteSettings()
    ventilator: VentilatorSettings = VentilatorSettings()
    patient: PatientSettings = PatientSettings()
    circuit: CircuitSettings = CircuitSettings()
    module: CellSettings = CellSettings()


class Supply(NamedTuple):
    """State of the supply; `rows` counts the changes of the true state written."""

    mains: MainsState = MainsState()
    carrier: Carrier = Carrier()
    ups: UpsState = UpsState()
    true_state: int = -1
    rows: int = 0


class Gas(NamedTuple):
    """State of the gas sources and of the gas at the sensor."""

    concentrator: ConcentratorState = ConcentratorState()
    cylinder: CylinderState = CylinderState()
    site: SiteState = SiteState()


class Breathing(NamedTuple):
    """State of bellows, patient and circuit."""

    ventilator: VentilatorState = VentilatorState()
    patient: PatientState = PatientState()
    circuit: CircuitState = CircuitState()
    breath: BreathState = BreathState()


class State(NamedTuple):
    """The state of the plant."""

    supply: Supply = Supply()
    gas: Gas = Gas()
    breathing: Breathing = Breathing()
    module: CellState = CellState()
    surge_v: float = 0.0


class Out(NamedTuple):
    """Where a run writes: analog lines, and rows of truth."""

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
    plant_flags: np.ndarray
    finders: np.ndarray
    event_rows: np.ndarray
    breath_rows: np.ndarray
    state_rows: np.ndarray


@compiled
def per_cent(mean_square: int, nominal_v: float) -> float:
    """Return an rms in per cent of nominal from its square in (0.01 V)²."""
    return math.sqrt(float(mean_square)) / nominal_v


@compiled
def square_at(pct: float, nominal_v: float) -> int:
    """Return the square in (0.01 V)² of a share of nominal."""
    return int(pct * pct * nominal_v * nominal_v)


@compiled
def drive_of(settings: Settings, state: Supply) -> samples.Drive:
    """Put together what holds for the samples of one step."""
    m, u = settings.mains, settings.ups
    v = m.nominal_v
    input_pct = per_cent(state.carrier.mean_square_in, v)
    kind = ups.out_kind(state.ups, u)
    near = abs(state.mains.frequency_hz - m.nominal_hz) < u.sync_hz
    return samples.Drive(
        mains.peak_q8(0.01 * state.mains.level_pct * v, m.thd_pct),
        int(state.mains.frequency_hz * _HZ_TO_STEP),
        int(m.thd_pct * 327.68),
        kind,
        int(65536.0 * ups.follow_gain(state.ups, u, input_pct)) if kind == samples.OUT_FOLLOWS else 0,
        mains.peak_q8(0.01 * u.output_pct * v, u.output_thd_pct),
        int(u.output_thd_pct * 327.68),
        int(m.nominal_hz * (1.0 + 1e-6 * u.crystal_ppm) * _HZ_TO_STEP),
        1 if state.ups.input_ok != 0 and near else 0,
        u.breaker,
        square_at(100.0, v),
        square_at(u.low_transfer_pct, v),
        square_at(u.high_transfer_pct, v),
        square_at(u.low_return_pct, v),
        square_at(u.high_return_pct, v),
    )


@compiled
def step_supply(
    settings: Settings, state: Supply, waves: samples.Waves, seed: int, tick_ms: int, out: Out, at: int
) -> Supply:
    """Advance mains, UPS mode and both waves by 10 ms."""
    line = mains.step_mains(state.mains, settings.mains, seed, tick_ms + 10, STEP_S)
    source = ups.step_mode(state.ups, settings.ups, state.carrier, settings.mains.nominal_hz, STEP_S)
    drive = drive_of(settings, Supply(line, state.carrier, source, state.true_state, state.rows))
    carrier = samples.step_samples(
        state.carrier,
        drive,
        waves,
        seed,
        out.supply_in_cv,
        out.supply_out_cv,
        at,
        out.finders,
        out.event_rows,
    )
    now = ups.true_state(source, per_cent(carrier.mean_square_out, settings.mains.nominal_v))
    if now == state.true_state:
        return Supply(line, carrier, source, now, state.rows)
    row = out.state_rows[state.rows]
    row[0], row[1], row[2] = tick_ms, now, source.mode
    return Supply(line, carrier, source, now, state.rows + 1)


@compiled
def breath_starts(source: int, state: Breathing) -> int:
    """Return the kind of breath that starts with this step."""
    if state.ventilator.started != 0:
        bellows = source == ventilator.SOURCE_BELLOWS
        return breath_truth.KIND_VENTILATOR if bellows else breath_truth.KIND_HAND
    alone = source == ventilator.SOURCE_OPEN or source == ventilator.SOURCE_OFF
    if state.patient.started != 0 and alone:
        return breath_truth.KIND_PATIENT
    return breath_truth.KIND_NONE


@compiled
def step_breathing(
    settings: Settings, state: Breathing, gas: Gas, seed: int, tick_ms: int, rows: np.ndarray
) -> Breathing:
    """Advance bellows, patient, circuit and the truth of breaths by 10 ms."""
    stroke = ventilator.step_ventilator(
        state.ventilator,
        settings.ventilator,
        seed,
        sources.drive_share(gas.concentrator, gas.cylinder, settings.cylinder),
        state.circuit.returned_ml_s,
        gas.site.flow_l_min * 1000.0 / 60.0,
    )
    person = patient.step_patient(state.patient, settings.patient, seed)
    node = circuit.step_circuit(
        state.circuit, settings.circuit, settings.patient, settings.ventilator, stroke,
        person.muscle_cmh2o, seed, tick_ms, STEP_S,
    )  # fmt: skip
    starts = breath_starts(settings.ventilator.source, Breathing(stroke, person, node, state.breath))
    breathing_in = stroke.closed != 0 if stroke.cycle_ms > 0 else node.flow_ml_s > 5.0
    breath = breath_truth.step_breath(
        state.breath, starts, tick_ms, node.start_cmh2o, node.end_cmh2o, breathing_in, node.flow_ml_s,
        settings.circuit.apart, rows,
    )  # fmt: skip
    if person.started != 0 and starts != breath_truth.KIND_PATIENT:
        free = breath_truth.effort_row(breath, tick_ms, settings.patient.effort_cmh2o, rows)
        breath = breath_truth.with_rows(breath, free)
    return Breathing(stroke, person, node, breath)


@compiled
def step_slow(settings: Settings, state: State) -> State:
    """Advance battery, concentrator, cylinder, gas and cell by 100 ms."""
    supply, gas = state.supply, state.gas
    supply_pct = per_cent(supply.carrier.mean_square_out, settings.mains.nominal_v)
    shields = supply.ups.mode >= ups.MODE_NORMAL and settings.ups.class_code == ups.CLASS_VFI
    oxygen = concentrator.step_concentrator(
        gas.concentrator,
        settings.concentrator,
        supply_pct,
        state.surge_v * (_SHIELDED if shields else _BARE),
        0.001 * settings.site.ambient_pa,
        BLOCK_S,
    )
    load_w = settings.ups.base_load_w + concentrator.power_w(oxygen, settings.concentrator)
    charger = supply.ups.input_ok != 0 and settings.ups.breaker != 0 and supply.ups.mode != ups.MODE_OFF
    battery = ups.step_battery(
        supply.ups, settings.ups, load_w if supply_pct > 10.0 else 0.0, charger, BLOCK_S
    )
    asked_l_min = sources.cylinder_drive_l_min(settings.ventilator, oxygen)
    bottle = cylinder.step_cylinder(gas.cylinder, settings.cylinder, oxygen.outlet_kpa, asked_l_min, BLOCK_S)
    flow, ppm = sources.mixed(oxygen, settings.concentrator, bottle)
    site = gas_site.step_site(gas.site, settings.site, flow, ppm, BLOCK_S)
    return State(
        Supply(supply.mains, supply.carrier, battery, supply.true_state, supply.rows),
        Gas(oxygen, bottle, site),
        state.breathing,
        module_cell.step_cell(state.module, settings.module, supply_pct, BLOCK_S),
        0.0,
    )


@compiled
def write_block(settings: Settings, state: State, out: Out, i: int, surge_v: float) -> None:
    """Write the lines that have one value a block."""
    supply, gas = state.supply, state.gas
    supply_v = math.sqrt(float(supply.carrier.mean_square_out)) * 0.01
    out.oxygen_ppm[i] = int(gas.site.oxygen_ppm)
    out.flow_ok[i] = 1 if gas.site.flow_l_min > 0.2 else 0
    out.product_pressure_pa[i] = int(concentrator.outlet_pa(gas.concentrator))
    out.battery_cv[i] = int(100.0 * supply.ups.battery_v)
    out.ups_output_ma[i] = int(1000.0 * supply.ups.load_w / supply_v) if supply_v > 20.0 else 0
    out.ups_contact[i] = supply.true_state
    out.surge_peak_v[i] = int(clip(surge_v, 0.0, 20_000.0))
    out.ambient_pa[i] = int(settings.site.ambient_pa)
    out.rail_mv[i] = state.module.rail_mv
    drive = sources.drive_share(gas.concentrator, gas.cylinder, settings.cylinder)
    out.plant_flags[i] = (
        (FLAG_CONCENTRATOR if gas.concentrator.running != 0 else 0)
        + (FLAG_CYLINDER if gas.cylinder.feeding != 0 else 0)
        + (FLAG_DRIVE if drive >= 0.25 else 0)
    )


@compiled
def micro(cmh2o: float) -> int:
    """Return a pressure in 0.001 cmH2O, held within what any sensor survives."""
    return math.floor(clip(cmh2o, -200.0, 400.0) * 1000.0 + 0.5)


def build(source_digest: str):  # type: ignore[no-untyped-def]
    """Return the compiled run over whole blocks.

    The digest of all sources of this room enters the key of the kept machine code: the compiler itself
    looks at the outermost file only.
    """

    @compiled_and_kept
    def run_blocks(
        first_block: int,
        blocks: int,
        seed: int,
        settings: Settings,
        state: State,
        waves: samples.Waves,
        out: Out,
    ) -> State:
        assert source_digest != ""
        for i in range(blocks):
            start_ms = (first_block + i) * BLOCK_MS
            for k in range(PRESSURE_BLOCK):
                tick_ms = start_ms + 10 * k
                at = i * SUPPLY_BLOCK + k * samples.SAMPLES_PER_STEP
                supply = step_supply(settings, state.supply, waves, seed, tick_ms, out, at)
                breathing = step_breathing(
                    settings, state.breathing, state.gas, seed, tick_ms, out.breath_rows
                )
                state = State(supply, state.gas, breathing, state.module, state.surge_v)
                out.pressure_ucm[i * PRESSURE_BLOCK + k] = micro(breathing.circuit.shown_cmh2o)
            surge_v = state.surge_v
            state = step_slow(settings, state)
            write_block(settings, state, out, i, surge_v)
        return state

    return run_blocks
