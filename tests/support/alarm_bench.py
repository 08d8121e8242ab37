"""A bench for the alarm engine: quiet inputs, values on either side of a limit, a module without board."""

from array import array

from firmware_sim.contract import NONE, alarms, settings, values
from firmware_sim.contract.engine import Engine, compile_table
from firmware_sim.kernels import alarms as k

VENTILATOR = 1
INDEX = {row[1]: row[0] for row in values.VALUES}
# A calm night on the ventilator: nothing stands.
QUIET = {
    "pressure_max": 1800, "pressure_min": 600, "cycle_age": 10, "breath_age": 100, "peak": 2000,
    "end_expiratory": 500, "rate": 1500, "oxygen": 9300, "supply_in_low": 10000, "supply_in_high": 10000,
    "supply_out_low": 10000, "supply_out_high": 10000, "frequency": 50000, "supply_state": 1,
    "undetermined_age": NONE, "battery": 1200, "rail": 5000, "link_age": 0, "mode": VENTILATOR,
    "cylinder": 400,
}


def quiet(**changes):
    """Return one step's inputs, calm but for the changes (by name)."""
    inputs = array("i", [0] * values.COUNT)
    for name, value in {**QUIET, **changes}.items():
        inputs[INDEX[name]] = value
    return inputs


def open_inputs(row):
    """Return calm inputs in which this row is judged: its mode and gate are open."""
    inputs = quiet()
    if not row.modes >> VENTILATOR & 1:
        inputs[values.MODE] = next(mode for mode in range(4) if row.modes >> mode & 1)
    if row.gate:
        inputs[row.gate[0]] = next(code for code in range(30) if row.gate[1] >> code & 1)
    return inputs


class Edges:
    """Values on either side of a row's limit: `inside`, `outside`, `still` (in the deadband), `clear`."""

    def __init__(self, row, table):
        at = k.T_SIZE + row.id * k.R_SIZE
        self.limit, self.clear = table[at + k.R_LIMIT], table[at + k.R_CLEAR]
        self.on, self.off = table[at + k.R_ON], table[at + k.R_OFF]
        self.still = None
        if row.kind == k.STATE:
            codes = [code for code in range(30) if row.limit >> code & 1]
            self.outside = codes[0]
            self.inside = self.clear = next(code for code in range(30) if code not in codes)
            return
        sign = -1 if row.kind == k.BELOW else 1
        self.inside = self.limit
        self.outside = self.limit + sign
        if self.clear != self.limit:
            self.still = self.clear + sign


class Bench:
    """Run the engine on one row's input and note what that row does."""

    def __init__(self, row, preset=0, engine_table=None, steps=None):
        self.row = row
        self.table = compile_table(settings.defaults(preset)) if engine_table is None else engine_table
        self.engine = Engine(self.table, steps)
        self.inputs = open_inputs(row)
        # What a right table says; a faulty one under test is judged against it.
        self.edges = Edges(row, compile_table(settings.defaults(preset)))
        self.seen = []
        self.inputs[row.value] = self.edges.clear if self.edges.still is not None else self.edges.inside
        self.step()

    def step(self, value=None, count=1):
        """Let the row's input be `value` for some steps; return this row's transitions in them."""
        if value is not None:
            self.inputs[self.row.value] = value
        found = []
        for _ in range(count):
            now = self.engine.now()
            for index in range(self.engine.step(self.inputs)):
                row, code, *_ = self.engine.transition(index)
                if row == self.row.id:
                    found.append((now, alarms.TRANSITIONS[code]))
            self.engine.clear()
        self.seen += found
        return found

    def raised(self):
        """Bring the row up."""
        assert [name for _, name in self.step(self.edges.outside, self.edges.on + 1)] == ["raised"]
        return self

    def stands(self):
        """Tell whether the row is signalled."""
        return self.engine.stands(self.row.id)


class Flashless:
    """A hal over an emulated flash that keeps what lamps and sounder are told, with the time in ms."""

    PAGE = 4096

    def __init__(self, flash, cause=0, off_s=0):
        self.flash, self.cause, self.off_s = flash, cause, off_s
        self.step = 0
        self.pressed = [False, False]
        self.lamps, self.sounds = [], []
        self.clock = (1_700_000_000, 0, True)

    def flash_read(self, page, offset, count):
        return self.flash.read(page, offset, count)

    def flash_erase(self, page):
        self.flash.erase(page)

    def flash_write(self, page, offset, data):
        self.flash.write(page, offset, data)

    def rtc(self):
        unix_s, unix_ms, is_set = self.clock
        return unix_s + self.step // 10, unix_ms, is_set

    def program_sound(self):
        return True

    def lamp(self, index, on, at_ms):
        self.lamps.append((self.step * 100 + at_ms, index, bool(on)))

    def sound(self, frequency_hz, level, at_ms):
        self.sounds.append((self.step * 100 + at_ms, frequency_hz, level))

    def button(self, index):
        return self.pressed[index]

    def reset_cause(self):
        return self.cause

    def off_time_s(self):
        return self.off_s


class Sent:
    """Take the records that go up."""

    def __init__(self):
        self.tick = 0
        self.alarms, self.logs, self.results, self.sets = [], [], [], []
        self.calibrations = []

    def put(self, kind, fields, tail=None):
        self.alarms.append((self.tick, *fields))

    def log(self, code, first=0, second=0, text=""):
        self.logs.append((code, first, second))

    def settings(self, version, digest, numbers):
        self.sets.append((version, digest, list(numbers)))

    def calibration(self, channel, row, in_force):
        self.calibrations.append((channel, row, in_force))

    def command_result(self, *fields):
        self.results.append(fields)


class Module:
    """An AlarmSystem on a bench: give it inputs step by step, press its buttons."""

    def __init__(self, flash, cause=0, off_s=0, steps=None, start=None):
        from firmware_sim.core.alarm_system import AlarmSystem

        self.hal = Flashless(flash, cause, off_s)
        if start is not None:
            self.hal.clock = (start[0], 0, start[1])
        self.sent = Sent()
        self.system = AlarmSystem(self.hal, self.sent, steps)

    def step(self, inputs, count=1):
        """Run some steps."""
        for _ in range(count):
            self.sent.tick = (self.hal.step + 1) * 100
            self.system.prepare(inputs)
            self.system.judge(inputs)
            self.system.signal()
            self.hal.step += 1

    def press(self, index, inputs, steps=3):
        """Hold a button for some steps, then let go for two."""
        self.hal.pressed[index] = True
        self.step(inputs, steps)
        self.hal.pressed[index] = False
        self.step(inputs, 2)

    def transitions(self):
        """Return (tick, row name, transition name)."""
        return [
            (tick, alarms.ROWS[row].name if row != k.NO_ROW else "", alarms.TRANSITIONS[code])
            for tick, row, code, *_ in self.sent.alarms
        ]
