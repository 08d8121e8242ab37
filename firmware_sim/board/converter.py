"""All channels of the board: lines of the world in, one step's codes out."""

from array import array

import numpy as np
from numpy.typing import NDArray

from firmware_sim.board import adc
from firmware_sim.compiler import kept
from firmware_sim.contract import PRESSURE_BLOCK, SUPPLY_BLOCK, channels
from firmware_sim.core.block import Block
from firmware_sim.world.plant import Lines

# Units of the world's lines, in the unit of the channel.
WIRE_UNITS = {
    channels.SUPPLY_IN: 0.01,
    channels.SUPPLY_OUT: 0.01,
    channels.PRESSURE: 0.001,
    channels.OXYGEN: 0.0001,
    channels.RAIL: 0.001,
    channels.PRODUCT_PRESSURE: 0.001,
    channels.BATTERY_VOLTAGE: 0.01,
    channels.UPS_CURRENT: 0.001,
    channels.SURGE_PEAK: 1.0,
}
PER_STEP = {
    channels.SUPPLY_IN: SUPPLY_BLOCK,
    channels.SUPPLY_OUT: SUPPLY_BLOCK,
    channels.PRESSURE: PRESSURE_BLOCK,
}
OXYGEN_STEPS = 5
SLOW_STEPS = 10
# The cell at the oxygen tee: nine tenths of a step within about 12 s (common practice for a fresh cell).
OXYGEN_LAG_Q16 = round(65536 * (1 - np.exp(-0.1 / 5.2)))
SEA_LEVEL_PA = 101_325

Line = NDArray[np.int32]


class Converter:
    """Convert runs of steps; `fitted` names the optional channels that this module has.

    `calibrated_pa`: ambient pressure at which the oxygen cell, which feels partial pressure, was calibrated.
    """

    def __init__(
        self, seed: int, fitted: frozenset[int] = frozenset(), calibrated_pa: int = SEA_LEVEL_PA
    ) -> None:
        self.fitted = fitted | frozenset(range(channels.FIRST_OPTIONAL))
        self.parameters = {
            channel_id: adc.parameters(channel_id, unit, seed) for channel_id, unit in WIRE_UNITS.items()
        }
        self.calibrated_pa = calibrated_pa
        self.oxygen_state = np.zeros(1, dtype=np.int64)
        self.contact_fitted = False
        self.codes: dict[int, array[int]] = {}
        self.contact: Line | None = None
        self.first_step = 0

    def fault(self, channel_id: int, name: str, size: int, step: int) -> None:
        """Begin a sensor fault at a step, or end it with 'none'; `size` as `adc.convert` takes it."""
        parameter = self.parameters[channel_id]
        if name == "stuck" and size == 0:
            size = self.last_code(channel_id)
        parameter[adc.P_FAULT] = adc.FAULTS.index(name)
        parameter[adc.P_SIZE] = size
        parameter[adc.P_SINCE] = step * PER_STEP.get(channel_id, 1)

    def last_code(self, channel_id: int) -> int:
        """Return the newest code of a channel, mid-scale before the first."""
        if channel_id in self.codes:
            return int(self.codes[channel_id][-1])
        row = channels.channel(channel_id)
        return int(row[4] + row[5] + 1) // 2

    def run(self, lines: Lines, first_step: int) -> None:
        """Convert all channels of a run of steps; `first_step` counts from the board's making."""
        self._convert(channels.SUPPLY_IN, lines.supply_in_cv, first_step)
        self._convert(channels.SUPPLY_OUT, lines.supply_out_cv, first_step)
        self._convert(channels.PRESSURE, lines.pressure_ucm, first_step)
        felt = np.empty(len(lines.oxygen_ppm), dtype=np.int32)
        feel(lines.oxygen_ppm, lines.ambient_pa, self.calibrated_pa, OXYGEN_LAG_Q16, self.oxygen_state, felt)
        self._convert(channels.OXYGEN, felt, first_step)
        self._convert(channels.RAIL, lines.rail_mv, first_step)
        self._convert(channels.PRODUCT_PRESSURE, lines.product_pressure_pa, first_step)
        self._convert(channels.BATTERY_VOLTAGE, lines.battery_cv, first_step)
        self._convert(channels.UPS_CURRENT, lines.ups_output_ma, first_step)
        self._convert(channels.SURGE_PEAK, lines.surge_peak_v, first_step)
        self.contact = lines.ups_contact
        self.first_step = first_step

    def _convert(self, channel_id: int, line: Line, first_step: int) -> None:
        if channel_id not in self.fitted:
            return
        codes = self.codes.get(channel_id)
        if codes is None or len(codes) != len(line):
            codes = self.codes[channel_id] = array("h", bytes(2 * len(line)))
        first = first_step * PER_STEP.get(channel_id, 1)
        adc.convert(line, first, self.parameters[channel_id], np.frombuffer(codes, dtype=np.int16))

    def fill(self, block: Block, index: int, steps: int = 1) -> None:
        """Fill the block with step `index` of the run; its samples are arrays of their own.

        Those of several steps are shown where they stand, until the next run; oxygen may be due twice in
        them, the slow channels in the first of them only.
        """
        codes = self.codes
        before, after = codes[channels.SUPPLY_IN], codes[channels.SUPPLY_OUT]
        pressure = codes[channels.PRESSURE]
        block.steps, block.first = steps, index
        step = self.first_step + index
        block.later_step = 0
        if steps > OXYGEN_STEPS - step % OXYGEN_STEPS:
            block.later_step = OXYGEN_STEPS - step % OXYGEN_STEPS
            block.later_oxygen = codes[channels.OXYGEN][index + block.later_step]
        if steps == 1:
            block.first, at = 0, index * SUPPLY_BLOCK
            before, after = before[at : at + SUPPLY_BLOCK], after[at : at + SUPPLY_BLOCK]
            pressure = pressure[index * PRESSURE_BLOCK : (index + 1) * PRESSURE_BLOCK]
        block.supply_in, block.supply_out, block.pressure = before, after, pressure
        block.oxygen = None if step % OXYGEN_STEPS else codes[channels.OXYGEN][index]
        if step % SLOW_STEPS == 0:
            self._fill_slow(block, index)
        elif block.rail is not None:
            block.rail = block.product_pressure = block.battery_voltage = None
            block.ups_current = block.ups_contact = block.surge_peak = None

    def _fill_slow(self, block: Block, index: int) -> None:
        codes = self.codes
        block.rail = codes[channels.RAIL][index]
        block.product_pressure = self._optional(channels.PRODUCT_PRESSURE, index)
        block.battery_voltage = self._optional(channels.BATTERY_VOLTAGE, index)
        block.ups_current = self._optional(channels.UPS_CURRENT, index)
        block.surge_peak = self._optional(channels.SURGE_PEAK, index)
        if self.contact_fitted and self.contact is not None:
            block.ups_contact = int(self.contact[index])

    def _optional(self, channel_id: int, index: int) -> int | None:
        codes = self.codes.get(channel_id)
        return None if codes is None else codes[index]


@kept
def feel(
    ppm: Line, ambient_pa: Line, calibrated_pa: int, lag_q16: int, state: NDArray[np.int64], felt: Line
) -> None:
    """Follow the oxygen fraction as the cell does: partial pressure, first-order lag; ppm as shown."""
    now = state[0]
    if now == 0:
        now = np.int64(ppm[0]) * ambient_pa[0] // calibrated_pa << 16
    for i in range(len(ppm)):
        target = (np.int64(ppm[i]) * ambient_pa[i] // calibrated_pa) << 16
        now += ((target - now) >> 16) * lag_q16
        felt[i] = now >> 16
    state[0] = now
