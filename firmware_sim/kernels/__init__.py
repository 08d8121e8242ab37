"""Integer hot loops and models, one version for every runtime: MicroPython, CPython, and numba on the host.

Functions work in place on `array.array` of 'h' or 'i', allocate nothing, and keep every intermediate
within 2^30. Those who call them take the functions from a namespace handed to them: this package, or the
compiled copy that `firmware_sim.compiled` makes of it. Constants are read from the modules here.
"""

from firmware_sim.kernels.alarms import alarm_steps
from firmware_sim.kernels.battery import battery_left, battery_load, battery_second
from firmware_sim.kernels.breath import breath_block, breath_rate, breath_reset
from firmware_sim.kernels.evidence import compare_reset, compare_taps
from firmware_sim.kernels.inputs import inputs_put, inputs_steps, inputs_take
from firmware_sim.kernels.oxygen import oxygen_sample
from firmware_sim.kernels.sensor import convert_block, pressure_block, sensor_block, sensor_clear
from firmware_sim.kernels.steps import quiet_steps, steps_record
from firmware_sim.kernels.supply import supply_block, supply_limits, supply_reset
