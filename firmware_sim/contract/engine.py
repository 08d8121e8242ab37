"""The alarm engine: the table as the settings have it, all rows' state, and what people press.

One engine for the module and for the rehearsal of recorded nights. The rows are stepped by
`kernels.alarms.alarm_steps`, plain or compiled; this class holds the arrays and takes the buttons.
A step is 100 ms; a caller that skips none keeps `now` equal to the module's step count.
"""

from array import array

from firmware_sim.contract import alarms, values
from firmware_sim.contract import settings as s
from firmware_sim.kernels import alarms as k

ALL = k.NO_ROW

# Results of `pause` and `acknowledge`; commands answer with the same numbers (commands.RESULTS).
OK = 0
NOTHING_TO_DO = 1
ALREADY_PAUSED = 2
BURST_FIRST = 3
NOT_FROM_PAGE = 4
NOT_THIS_ROW = 5

PAGE_PAUSE_MAX = 300
REPEATED_PAUSE_MAX = 300
REPEAT_WINDOW = 6000
# A silence shorter than this is refused: the condition has been silent as long as it may be.
SILENCE_MIN = 10


def compile_table(settings):
    """Return the flat table for a list of settings (integers, all of them)."""
    table = array("i", [0] * (k.T_SIZE + alarms.COUNT * k.R_SIZE))
    table[k.T_ROWS] = alarms.COUNT
    table[k.T_VALUES] = values.COUNT
    table[k.T_MODE] = values.MODE
    table[k.T_REMINDER] = settings[s.ID_OF["alarm.reminder"]]
    table[k.T_RE_ALARM] = settings[s.ID_OF["alarm.re_alarm"]]
    table[k.T_PAUSE] = settings[s.ID_OF["alarm.pause"]]
    for row in alarms.ROWS:
        _compile_row(table, k.T_SIZE + row.id * k.R_SIZE, row, settings)
    return table


def _compile_row(table, at, row, settings):
    limit = number(row.limit, settings)
    deadband = number(row.deadband, settings)
    table[at + k.R_VALUE] = row.value
    table[at + k.R_KIND] = row.kind
    table[at + k.R_LIMIT] = limit
    table[at + k.R_CLEAR] = limit + deadband if row.kind == k.BELOW else limit - deadband
    table[at + k.R_ON] = on_delay(row, settings)
    table[at + k.R_OFF] = number(row.off_delay, settings)
    table[at + k.R_PRIORITY] = row.priority
    table[at + k.R_FLAGS] = row_flags(row)
    table[at + k.R_MODES] = row.modes
    table[at + k.R_GATE] = row.gate[0] if row.gate else -1
    table[at + k.R_GATE_CODES] = row.gate[1] if row.gate else 0
    table[at + k.R_ESCALATE] = number(row.escalate or 0, settings)
    for index in range(k.R_CAUSES):
        table[at + k.R_CAUSE + index] = row.causes[index] if index < len(row.causes) else -1


def number(name, settings):
    """Return a column's number: itself, or the setting of that name in the scale of its input."""
    if not isinstance(name, str):
        return name
    value = settings[s.ID_OF[name]]
    if name.startswith("frequency.") and not name.endswith("delay"):
        # Per cent of nominal (scale 100) to mHz.
        return value * settings[s.ID_OF["supply.nominal_frequency"]] // 10
    return value


def on_delay(row, settings):
    """Return a row's on-delay in steps, its hard maximum applied."""
    if row.on_delay == "pressure.disconnect_delay":
        delay = s.disconnect_delay(settings)
    else:
        delay = number(row.on_delay, settings)
    return delay if row.delay_max is None else min(delay, row.delay_max)


def row_flags(row):
    """Return the flag bits of a row for the flat table."""
    flags = k.LATCHING if row.latching else 0
    flags |= k.MAY_PAUSE if row.may_pause else 0
    flags |= k.MAY_ACKNOWLEDGE if row.may_acknowledge else 0
    flags |= k.CIRCUIT if row.circuit else 0
    flags |= k.FROM_START if row.from_start else 0
    flags |= k.FROM_PAGE if row.from_page else 0
    flags |= k.RE_ALARM if row.re_alarm else 0
    return flags


class Engine:
    """Step all rows and take the buttons.

    `table` from compile_table; `steps` is kernels.alarm_steps or its compiled twin (None: the plain one).
    After `step` returned n > 0, read transitions 0..n-1 and `clear()`; presses add theirs to the same list.
    """

    def __init__(self, table, steps=None):
        self.table = table
        self.steps = steps or k.alarm_steps
        rows = table[k.T_ROWS]
        self.state = array("i", [0] * (k.G_SIZE + rows * k.S_SIZE))
        self.low = array("i", [0] * table[k.T_VALUES])
        self.high = array("i", [0] * table[k.T_VALUES])
        self.seen = array("i", [0] * table[k.T_VALUES])
        self.out = array("i", [0] * (k.O_SIZE * (rows * 4 + 8)))
        for at in range(k.G_SIZE, len(self.state), k.S_SIZE):
            self.state[at + k.S_RUN] = -1
            self.state[at + k.S_CAUSE] = -1
            self.state[at + k.S_PAUSE_LAST] = k.LONG_AGO
            self.state[at + k.S_PAUSE_BEFORE] = k.LONG_AGO

    def step(self, inputs):
        """Take one step's inputs (array 'i', values.COUNT); return the number of transitions that stand."""
        self.steps(inputs, 0, 1, self.table, self.state, self.low, self.high, self.seen, self.out)
        return self.state[k.G_OUT]

    def run(self, block, first, count):
        """Take up to `count` steps of a block; return how many, ending after one with transitions."""
        return self.steps(block, first, count, self.table, self.state, self.low, self.high, self.seen,
                          self.out)

    def transition(self, index):
        """Return (row, code, priority, flags, value, limit, cause); the last three may be None."""
        at = index * k.O_SIZE
        row, code, priority, flags, value, limit, cause = self.out[at:at + k.O_SIZE]
        return (row, code, priority, flags, None if value == k.NONE else value,
                None if limit == k.NONE else limit, None if cause == k.NO_ROW else cause)

    def clear(self):
        """Forget the transitions that were read."""
        self.state[k.G_OUT] = 0

    def set_table(self, table):
        """Put other limits in force from the next step; what stands goes on standing."""
        self.table = table
        self.state[k.G_DEADLINE] = 0

    def now(self):
        """Return the number of the next step."""
        return self.state[k.G_NOW]

    def sound(self):
        """Return the priority that sounds now, 0 for silence."""
        return self.state[k.G_SOUND]

    def sound_serial(self):
        """Return a number that grows whenever the burst must start anew."""
        return self.state[k.G_SERIAL]

    def lamp(self):
        """Return the highest priority that stands, acknowledged or not; 0 for none."""
        return self.state[k.G_LAMP]

    def pause_left(self):
        """Return the steps left of a running pause, 0 for none."""
        end = self.state[k.G_PAUSE]
        return end - self.state[k.G_NOW] if end else 0

    def phase(self, row):
        """Return a row's phase (alarms.PHASES)."""
        return self.state[k.G_SIZE + row * k.S_SIZE + k.S_PHASE]

    def stands(self, row):
        """Tell whether a row is signalled, latched ones too."""
        return self.phase(row) >= k.ACTIVE

    def acknowledged(self, row):
        """Tell whether a standing row was acknowledged."""
        return bool(self.state[k.G_SIZE + row * k.S_SIZE + k.S_ACKNOWLEDGED])

    def standing(self):
        """Return the ids of all standing rows."""
        state = self.state
        if not state[k.G_STANDING]:
            return []
        at = k.G_SIZE + k.S_PHASE
        return [row for row in range(self.table[k.T_ROWS]) if state[at + row * k.S_SIZE] >= k.ACTIVE]

    def pause(self, from_page=False):
        """Pause the sound of all that may be paused; return OK or why not.

        Steps: the setting, 30 s from a page, 30 s when a standing condition was paused twice within 10 min;
        and never so long that a standing medium or high row is silent for more than 120 s since it was last
        heard whole.
        """
        if self.state[k.G_PAUSE]:
            return ALREADY_PAUSED
        rows = [row for row in self.standing() if self._silences(row)]
        if not rows:
            return NOTHING_TO_DO
        if from_page and not all(self._has(row, k.FROM_PAGE) for row in self.standing()):
            return NOT_FROM_PAGE
        length = min([self._pause_length(row, from_page) for row in self.standing()])
        if length < SILENCE_MIN:
            return BURST_FIRST
        now = self.state[k.G_NOW]
        for row in rows:
            at = k.G_SIZE + row * k.S_SIZE
            self.state[at + k.S_PAUSE_BEFORE] = self.state[at + k.S_PAUSE_LAST]
            self.state[at + k.S_PAUSE_LAST] = now
        self.state[k.G_PAUSE] = now + length
        self._emit(ALL, k.AUDIO_PAUSED, from_page, length)
        return OK

    def acknowledge(self, row=ALL, from_page=False):
        """Silence what stands now, not what comes: one row or all; return OK or why nothing was done."""
        rows = [each for each in self.standing() if row in (ALL, each)]
        result = NOTHING_TO_DO
        done = False
        for each in rows:
            # An earlier one of the list may have freed or ended this one.
            answer = self._acknowledge_row(each, from_page) if self.stands(each) else NOTHING_TO_DO
            done = done or answer == OK
            result = answer if answer != NOTHING_TO_DO else result
        return OK if done else result

    def latched(self):
        """Return the ids of latching rows that stand unacknowledged: what a reset must bring back."""
        return [row for row in self.standing() if self._has(row, k.LATCHING) and not self.acknowledged(row)]

    def restore(self, rows):
        """Bring latched rows back after a reset, before the first step."""
        for row in rows:
            if row < self.table[k.T_ROWS] and self._has(row, k.LATCHING):
                at = k.G_SIZE + row * k.S_SIZE
                self.state[at + k.S_PHASE] = k.LATCHED
                self.state[k.G_STANDING] += 1
                self.state[at + k.S_PRIORITY] = self.table[k.T_SIZE + row * k.R_SIZE + k.R_PRIORITY]
                self._emit(row, k.RESTORED)

    def _has(self, row, flag):
        return bool(self.table[k.T_SIZE + row * k.R_SIZE + k.R_FLAGS] & flag)

    def _silences(self, row):
        """Tell whether a pause would silence this row."""
        at = k.G_SIZE + row * k.S_SIZE
        return (self._has(row, k.MAY_PAUSE) and not self.acknowledged(row) and self.state[at + k.S_CAUSE] < 0)

    def _silence_left(self, row):
        """Return for how many steps a row may still be silent."""
        return k.alarm_heard(k.G_SIZE + row * k.S_SIZE, self.state) + k.SILENCE_MAX - self.state[k.G_NOW]

    def _pause_length(self, row, from_page):
        at = k.G_SIZE + row * k.S_SIZE
        length = self.table[k.T_PAUSE]
        if from_page:
            length = min(length, PAGE_PAUSE_MAX)
        if self.state[at + k.S_CAUSE] >= 0 or not self._has(row, k.MAY_PAUSE):
            return length
        if self.state[k.G_NOW] - self.state[at + k.S_PAUSE_BEFORE] <= REPEAT_WINDOW and self._silences(row):
            length = min(length, REPEATED_PAUSE_MAX)
        priority = self.state[at + k.S_PRIORITY]
        if priority == k.HIGH or (priority == k.MEDIUM and not self.acknowledged(row)):
            length = min(length, self._silence_left(row))
        return length

    def _acknowledge_row(self, row, from_page):
        at = k.G_SIZE + row * k.S_SIZE
        latched = self.state[at + k.S_PHASE] == k.LATCHED
        if from_page and not self._has(row, k.FROM_PAGE):
            return NOT_FROM_PAGE
        if not latched and not self._has(row, k.MAY_ACKNOWLEDGE):
            return NOT_THIS_ROW
        if self.acknowledged(row):
            return NOTHING_TO_DO
        if not latched and self.state[at + k.S_PRIORITY] == k.HIGH and self._silence_left(row) < SILENCE_MIN:
            return BURST_FIRST
        self._silence(row, from_page)
        for other in self.standing():
            if self.state[k.G_SIZE + other * k.S_SIZE + k.S_CAUSE] == row and not self.acknowledged(other):
                self._silence(other, from_page)
        if latched:
            self._emit(row, k.CLEARED, from_page)
            k.alarm_forget(row, self.out, -1, self.table, self.state, self.out)
        return OK

    def _silence(self, row, from_page):
        at = k.G_SIZE + row * k.S_SIZE
        self.state[at + k.S_ACKNOWLEDGED] = 1
        self.state[at + k.S_ACKNOWLEDGED_AT] = self.state[k.G_NOW]
        self.state[at + k.S_REMIND_UNTIL] = 0
        self._emit(row, k.ACKNOWLEDGED, from_page)

    def _emit(self, row, code, from_page=False, value=None):
        before = self.state[k.G_OUT]
        flags = k.F_FROM_PAGE if from_page else 0
        k.alarm_emit(row, code, flags, self.out, -1, self.table, self.state, self.out)
        if value is not None and self.state[k.G_OUT] > before:
            self.out[before * k.O_SIZE + 4] = value
        self.state[k.G_DEADLINE] = 0
