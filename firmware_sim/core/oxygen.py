"""Purity of the oxygen source: filtered, corrected for altitude, and judged.

What is measured is the purity of the source, never what the patient breathes in. It counts only while gas
flows past the cell: without flow the reading stands still for minutes. Flow is proven by the product
pressure where that channel is fitted; without it flow is assumed while the output of the UPS lives.
"""

import array

from firmware_sim.contract import NONE
from firmware_sim.contract.channels import OXYGEN_STATES, SENSOR_OPEN, SENSOR_SHORT, SENSOR_STUCK
from firmware_sim.contract.settings import ID_OF
from firmware_sim.kernels import oxygen as words

CURRENT = OXYGEN_STATES.index("current")
NOT_CURRENT = OXYGEN_STATES.index("not_current")
IMPLAUSIBLE = OXYGEN_STATES.index("implausible")
CYLINDER = OXYGEN_STATES.index("probably_cylinder")
FAULT = OXYGEN_STATES.index("fault")
STARTING = OXYGEN_STATES.index("starting")
# Stagnant gas and a broken cell say nothing about the source.
UNKNOWN = (NOT_CURRENT, FAULT)

KEPT = 128  # seconds of history
MEAN_S = 8  # one cycle of a sieve
FALL_S = 30
HIGH = 9600  # a concentrator's product ends at 95.7 %: argon stays with the oxygen
UNCERTAINTY = 50
CYLINDER_MIN = 9700
CYLINDER_END = 9650
STEP = 150
FAULT_MIN = 10300
IMPLAUSIBLE_S = 300
FAULT_S = 5
FLOW_MIN = 100  # 10.0 kPa of product pressure
NO_FLOW_S = 10
MOVED = 100  # a change that only flowing gas can bring, within a minute
STARTING_S = 600
READY = 8400  # the purity light of a field concentrator
FLOW_ABSENT, FLOW_ASSUMED, FLOW_PROVEN = 0, 1, 2
# Pressure at sea level over pressure at -500, 0, 500 ... 4500 m, 16384 is one (barometric formula of the
# standard atmosphere: p = p0 (1 - 2.25577e-5 h)^5.25588).
ALTITUDE = (15446, 16384, 17390, 18471, 19633, 20883, 22229, 23679, 25243, 26932, 28757)


class Oxygen:
    """Judge the source: `sample` with each code (2 a second) that no kernel took, `second` each second.

    `value` (0.01 %), `fall` (0.01 %/min), `stopped` and `state` are engine inputs (NONE until known);
    `flow` is FLOW_ABSENT, FLOW_ASSUMED or FLOW_PROVEN.
    """

    def __init__(self, kernels, values):
        self.oxygen_sample = kernels.oxygen_sample
        self.words = array.array("i", bytes(4 * words.OXYGEN_WORDS))
        self.words[words.VALUE] = NONE
        self.history = array.array("h", bytes(2 * KEPT))
        self.at = 0
        self.seconds = 0
        self.fall = NONE
        self.stopped = 0
        self.state = NOT_CURRENT
        self.flow = FLOW_ASSUMED
        self.no_flow_s = 0
        self.dead_s = 0
        self.high_s = 0
        self.fault_s = 0
        self.since_start_s = STARTING_S
        self.cylinder = False
        self.configure(values)

    def configure(self, values):
        """Take the settings in force."""
        self.words[words.OFFSET] = values[ID_OF["calibration.oxygen_offset"]]
        self.words[words.GAIN] = values[ID_OF["calibration.oxygen_gain"]]
        metres = values[ID_OF["oxygen.altitude"]] + 500
        row = min(max(metres // 500, 0), len(ALTITUDE) - 2)
        low = ALTITUDE[row]
        self.words[words.ALTITUDE] = low + (ALTITUDE[row + 1] - low) * (metres - row * 500) // 500

    @property
    def value(self):
        """Return the purity of the source in 0.01 %, NONE before the first code."""
        return self.words[words.VALUE]

    def sample(self, code):
        """Take one code."""
        self.oxygen_sample(code, self.words)

    def second(self, output_alive, product_kpa, sensor, warming_up):
        """Judge one second: whether the UPS's output lives, product pressure in 0.1 kPa or None where not
        fitted, the condition of the sensor, and whether a person declared warming up."""
        if self.value == NONE:
            return
        self.at = (self.at + 1) % KEPT
        self.history[self.at] = self.value
        if self.seconds < KEPT:
            self.seconds += 1
        self._fall()
        self._flow(output_alive, product_kpa)
        self.stopped = 1 if self._stands_still(output_alive, product_kpa) and not warming_up else 0
        self.high_s = self.high_s + 1 if self.value > HIGH + UNCERTAINTY else 0
        self.fault_s = self.fault_s + 1 if self.value > FAULT_MIN else 0
        self._cylinder()
        self.state = self._judge(sensor, output_alive)

    def _back(self, seconds):
        """Return the value of some seconds ago, the oldest known at most."""
        if seconds > self.seconds - 1:
            seconds = self.seconds - 1
        return self.history[(self.at - seconds) % KEPT]

    def _mean(self, first):
        """Return the mean of MEAN_S seconds that ended `first` seconds ago; so much history must be there."""
        history, newest = self.history, self.at - first
        total = 0
        for n in range(MEAN_S):
            total += history[(newest - n) % KEPT]
        return total // MEAN_S

    def _fall(self):
        """Renew the fall: means of 8 s, 30 s apart, in %/min; 0 or more."""
        if self.seconds < FALL_S + MEAN_S:
            self.fall = NONE
            return
        fall = (self._mean(FALL_S) - self._mean(0)) * 60 // FALL_S
        self.fall = fall if fall > 0 else 0

    def _flow(self, output_alive, product_kpa):
        if product_kpa is not None:
            self.no_flow_s = self.no_flow_s + 1 if product_kpa < FLOW_MIN else 0
            proven = FLOW_PROVEN
        else:
            self.no_flow_s = 0 if output_alive else self.no_flow_s + 1
            proven = FLOW_ASSUMED
        moved = abs(self.value - self._back(60)) >= MOVED
        if self.no_flow_s < NO_FLOW_S:
            self.flow = proven
        else:
            self.flow = FLOW_ASSUMED if moved else FLOW_ABSENT

    def _stands_still(self, output_alive, product_kpa):
        """Tell whether the source stopped though its supply is good."""
        return output_alive and product_kpa is not None and self.no_flow_s >= NO_FLOW_S

    def _cylinder(self):
        """A step above 97 % is probably a cylinder: a concentrator can't, a drifting cell has no step."""
        if self.value >= CYLINDER_MIN:
            stepped = self.value - self._back(KEPT - 1) >= STEP
            if stepped or self.seconds < KEPT:
                self.cylinder = True
        elif self.value < CYLINDER_END:
            self.cylinder = False

    def _judge(self, sensor, output_alive):
        self.dead_s = 0 if output_alive else min(self.dead_s + 1, STARTING_S)
        if self.dead_s >= 2:
            self.since_start_s = 0
        elif self.since_start_s < STARTING_S:
            self.since_start_s += 1
        if sensor in (SENSOR_STUCK, SENSOR_OPEN, SENSOR_SHORT) or self.fault_s >= FAULT_S:
            return FAULT
        if self.cylinder:
            return CYLINDER
        if self.high_s >= IMPLAUSIBLE_S:
            return IMPLAUSIBLE
        if self.flow == FLOW_ABSENT:
            return NOT_CURRENT
        if self.since_start_s < STARTING_S and self.value < READY:
            return STARTING
        return CURRENT
