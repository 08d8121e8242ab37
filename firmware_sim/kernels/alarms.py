"""Step every alarm row over a block of engine inputs: conditions, delays, latches, sound; flat arrays only.

`table` is what the settings compile to (contract.engine.compile_table), `state` is all that the engine
remembers, `low` and `high` bound each input: while every input stays inside and no deadline has come, no
row can change. `seen` is the last step's inputs: one that has not moved costs one comparison, else three.
Times are steps of 100 ms since power-up.

Layouts. table: T_SIZE words, then R_SIZE a row. state: G_SIZE words, then S_SIZE a row.
out: O_SIZE words a transition (row, code, priority, flags, value, limit, cause).
"""

HIGHEST = 0x3FFFFFFF  # not (1 << 30) - 1: that is no small integer where those have 31 bits
NONE = -HIGHEST - 1
LONG_AGO = -1000000
NO_ROW = 255

LOW, MEDIUM, HIGH = 1, 2, 3

# Kinds of condition. A stale row also alarms when its input is missing.
ABOVE, BELOW, STALE, RATE, STATE = 0, 1, 2, 3, 4

# Life of a row: PENDING waits for the on-delay, LEAVING for the off-delay.
IDLE, PENDING, ACTIVE, LEAVING, LATCHED = 0, 1, 2, 3, 4

# Transitions, as they travel in the message `alarm`.
RAISED, CLEARED, LATCHED_ON, ACKNOWLEDGED, ESCALATED, REMINDED = 1, 2, 3, 4, 5, 6
RE_ALARMED, AUDIO_PAUSED, PAUSE_ENDED, UNGROUPED, RESTORED, GROUPED = 7, 8, 9, 10, 11, 12

# Bits of `flags` of a transition.
F_PAUSED, F_ACKNOWLEDGED, F_GROUPED, F_LATCHED, F_FROM_PAGE, F_INACTIVE = 1, 2, 4, 8, 16, 32

# Bits of a row's flags in the table.
LATCHING, MAY_PAUSE, MAY_ACKNOWLEDGE, CIRCUIT, FROM_START, FROM_PAGE, RE_ALARM = 1, 2, 4, 8, 16, 32, 64

T_ROWS, T_VALUES, T_MODE, T_REMINDER, T_RE_ALARM, T_PAUSE = 0, 1, 2, 3, 4, 5
T_SIZE = 8

R_VALUE, R_KIND, R_LIMIT, R_CLEAR, R_ON, R_OFF, R_PRIORITY, R_FLAGS = 0, 1, 2, 3, 4, 5, 6, 7
R_MODES, R_GATE, R_GATE_CODES, R_ESCALATE, R_CAUSE = 8, 9, 10, 11, 12
R_CAUSES = 4
R_SIZE = 16

G_NOW, G_DEADLINE, G_PAUSE, G_SOUND, G_SERIAL, G_LAMP, G_STANDING, G_OUT = 0, 1, 2, 3, 4, 5, 6, 7
G_SIZE = 8

S_PHASE, S_TRUE, S_SINCE, S_RAISED, S_PRIORITY, S_ACKNOWLEDGED, S_ACKNOWLEDGED_AT = 0, 1, 2, 3, 4, 5, 6
S_HEARD, S_RUN, S_CAUSE, S_PAUSE_LAST, S_PAUSE_BEFORE, S_REMIND_UNTIL, S_ATTENTION = 7, 8, 9, 10, 11, 12, 13
S_SIZE = 14

O_SIZE = 7

# Longest silence of a standing high row, by pause, acknowledgement or both: 120 s.
SILENCE_MAX = 1200
# A burst has been heard whole after this time (the longest burst of the schedule, core.sounder, is 2.75 s).
BURST = 30
# A consequence that was raised so shortly before its cause is shown under it all the same.
TOGETHER = 50


def alarm_steps(block, first, count, table, state, low, high, seen, out):
    """Run up to `count` steps from step `first` of `block`; stop after one that has transitions.

    `block` holds T_VALUES integers a step. Return the number of steps taken; state[G_OUT] transitions
    stand in `out`. Step `state[G_NOW]` is the next one.
    """
    values = table[T_VALUES]
    at = first * values
    deadline = state[G_DEADLINE]
    now = state[G_NOW]
    for done in range(count):
        quiet = now < deadline
        if quiet:
            for index in range(values):
                value = block[at + index]
                if value != seen[index]:
                    if value < low[index] or value > high[index]:
                        quiet = False
                        break
                    seen[index] = value
        now += 1
        if not quiet:
            alarm_judge(block, at, table, state, low, high, seen, out)
            deadline = state[G_DEADLINE]
            if state[G_OUT]:
                state[G_NOW] = now
                return done + 1
        state[G_NOW] = now
        at += values
    return count


def alarm_judge(block, at, table, state, low, high, seen, out):
    """Step every row once, settle pause and sound, and find out until when nothing can change."""
    rows = table[T_ROWS]
    for row in range(rows):
        alarm_row(row, block, at, table, state, out)
    alarm_pause_end(table, state, out)
    for row in range(rows):
        if state[G_SIZE + row * S_SIZE + S_PHASE] >= ACTIVE:
            alarm_attend(row, block, at, table, state, out)
    alarm_sound(table, state)
    alarm_bands(block, at, table, state, low, high, seen)
    alarm_deadline(table, state)


def alarm_emit(row, code, flags, block, at, table, state, out):
    """Append one transition; at = -1 when no input is at hand."""
    place = state[G_OUT] * O_SIZE
    if place + O_SIZE > len(out):
        return
    state[G_OUT] += 1
    out[place] = row
    out[place + 1] = code
    for index in range(2, O_SIZE):
        out[place + index] = NONE
    out[place + 2] = 0
    out[place + 6] = NO_ROW
    if state[G_PAUSE]:
        flags |= F_PAUSED
    if row != NO_ROW:
        mine = G_SIZE + row * S_SIZE
        my_row = T_SIZE + row * R_SIZE
        out[place + 2] = state[mine + S_PRIORITY]
        if at >= 0:
            out[place + 4] = block[at + table[my_row + R_VALUE]]
        out[place + 5] = table[my_row + R_LIMIT]
        if state[mine + S_CAUSE] >= 0:
            out[place + 6] = state[mine + S_CAUSE]
            flags |= F_GROUPED
        if state[mine + S_ACKNOWLEDGED]:
            flags |= F_ACKNOWLEDGED
        if state[mine + S_PHASE] == LATCHED:
            flags |= F_LATCHED
    out[place + 3] = flags


def alarm_is_open(my_row, block, at, table):
    """Tell whether mode and gate let this row be judged: 1 or 0."""
    mode = block[at + table[T_MODE]]
    if mode >= 0 and not (table[my_row + R_MODES] >> mode) & 1:
        return 0
    gate = table[my_row + R_GATE]
    if gate < 0:
        return 1
    code = block[at + gate]
    if code < 0:
        code = 0
    return (table[my_row + R_GATE_CODES] >> code) & 1


def alarm_condition(value, kind, limit, clear, true, standing):
    """Judge one value against its limit; a missing value starts nothing and ends nothing.

    The deadband holds what stands; during the on-delay the value must stay beyond the limit itself.
    """
    if value == NONE:
        if kind == STALE:
            return 1
        return true if standing else 0
    if kind == STATE:
        return (limit >> value) & 1
    if kind == BELOW:
        return 1 if value < limit or (true and standing and value < clear) else 0
    return 1 if value > limit or (true and standing and value > clear) else 0


def alarm_row(row, block, at, table, state, out):
    """Step one row through its life."""
    my_row = T_SIZE + row * R_SIZE
    mine = G_SIZE + row * S_SIZE
    phase = state[mine + S_PHASE]
    is_open = alarm_is_open(my_row, block, at, table)
    value = block[at + table[my_row + R_VALUE]]
    true = 0
    if is_open:
        true = alarm_condition(value, table[my_row + R_KIND], table[my_row + R_LIMIT],
                               table[my_row + R_CLEAR], state[mine + S_TRUE], phase >= ACTIVE)
    now = state[G_NOW]
    delay = table[my_row + R_ON]
    if now == 0 and is_open and table[my_row + R_FLAGS] & FROM_START:
        # From power-up it stands until the opposite is first seen.
        delay = 0
        if value == NONE:
            true = 1
    if true != state[mine + S_TRUE]:
        state[mine + S_TRUE] = true
        state[mine + S_SINCE] = now
    waited = now - state[mine + S_SINCE]
    if phase <= PENDING:
        if not true:
            state[mine + S_PHASE] = IDLE
        elif waited >= delay:
            alarm_raise(row, block, at, table, state, out)
        else:
            state[mine + S_PHASE] = PENDING
    elif true:
        state[mine + S_PHASE] = ACTIVE
    elif phase != LATCHED:
        if not is_open or waited >= table[my_row + R_OFF]:
            alarm_end(row, is_open, block, at, table, state, out)
        else:
            state[mine + S_PHASE] = LEAVING


def alarm_raise(row, block, at, table, state, out):
    """Begin an alarm: fresh, unacknowledged, under a cause that is sounding now or on its own."""
    mine = G_SIZE + row * S_SIZE
    my_row = T_SIZE + row * R_SIZE
    now = state[G_NOW]
    priority = table[my_row + R_PRIORITY]
    state[mine + S_PHASE] = ACTIVE
    state[mine + S_RAISED] = now
    state[mine + S_PRIORITY] = priority
    state[mine + S_ACKNOWLEDGED] = 0
    state[mine + S_HEARD] = now
    state[mine + S_RUN] = -1
    state[mine + S_PAUSE_LAST] = LONG_AGO
    state[mine + S_PAUSE_BEFORE] = LONG_AGO
    state[mine + S_REMIND_UNTIL] = 0
    state[mine + S_ATTENTION] = now
    state[mine + S_CAUSE] = alarm_cause(my_row, priority, table, state)
    alarm_emit(row, RAISED, 0, block, at, table, state, out)
    if state[mine + S_CAUSE] >= 0:
        return
    if priority >= MEDIUM:
        alarm_resume(table, state, out)
    if not state[G_PAUSE]:
        alarm_gather(row, block, at, table, state, out)


def alarm_gather(row, block, at, table, state, out):
    """Take under this new cause the consequences that were noticed a moment before it."""
    now = state[G_NOW]
    priority = state[G_SIZE + row * S_SIZE + S_PRIORITY]
    for other in range(table[T_ROWS]):
        its = G_SIZE + other * S_SIZE
        if (state[its + S_PHASE] < ACTIVE or state[its + S_CAUSE] >= 0 or state[its + S_ACKNOWLEDGED]
                or state[its + S_PRIORITY] > priority or now - state[its + S_RAISED] > TOGETHER):
            continue
        for index in range(R_CAUSES):
            if table[T_SIZE + other * R_SIZE + R_CAUSE + index] == row:
                state[its + S_CAUSE] = row
                alarm_emit(other, GROUPED, 0, block, at, table, state, out)
                for third in range(table[T_ROWS]):
                    if state[G_SIZE + third * S_SIZE + S_CAUSE] == other:
                        state[G_SIZE + third * S_SIZE + S_CAUSE] = row


def alarm_cause(my_row, priority, table, state):
    """Find a standing, unacknowledged cause of at least this priority; -1 when none is sounding."""
    if state[G_PAUSE]:
        return -1
    for index in range(R_CAUSES):
        cause = table[my_row + R_CAUSE + index]
        if cause >= 0:
            its = G_SIZE + cause * S_SIZE
            if (state[its + S_PHASE] >= ACTIVE and not state[its + S_ACKNOWLEDGED]
                    and state[its + S_CAUSE] < 0 and state[its + S_PRIORITY] >= priority):
                return cause
    return -1


def alarm_end(row, is_open, block, at, table, state, out):
    """End an alarm, or latch it; what stood under it now speaks for itself."""
    mine = G_SIZE + row * S_SIZE
    flags = 0 if is_open else F_INACTIVE
    if table[T_SIZE + row * R_SIZE + R_FLAGS] & LATCHING and not state[mine + S_ACKNOWLEDGED]:
        state[mine + S_PHASE] = LATCHED
        alarm_emit(row, LATCHED_ON, flags, block, at, table, state, out)
        return
    alarm_emit(row, CLEARED, flags, block, at, table, state, out)
    alarm_forget(row, block, at, table, state, out)


def alarm_forget(row, block, at, table, state, out):
    """Put a row to rest and free the rows that stood under it."""
    mine = G_SIZE + row * S_SIZE
    state[mine + S_PHASE] = IDLE
    state[mine + S_ACKNOWLEDGED] = 0
    state[mine + S_CAUSE] = -1
    state[mine + S_RUN] = -1
    for other in range(table[T_ROWS]):
        its = G_SIZE + other * S_SIZE
        if state[its + S_CAUSE] == row:
            state[its + S_CAUSE] = -1
            if state[its + S_PHASE] != LEAVING:
                # What was silenced with its cause and is still present begins to speak.
                state[its + S_ACKNOWLEDGED] = 0
                state[its + S_ATTENTION] = state[G_NOW]
            alarm_emit(other, UNGROUPED, 0, block, at, table, state, out)


def alarm_attend(row, block, at, table, state, out):
    """Let time work on a standing row: escalation, end of an acknowledgement, reminder."""
    mine = G_SIZE + row * S_SIZE
    my_row = T_SIZE + row * R_SIZE
    now = state[G_NOW]
    priority = state[mine + S_PRIORITY]
    if not state[mine + S_ACKNOWLEDGED]:
        after = table[my_row + R_ESCALATE]
        due = after and priority < HIGH and state[mine + S_CAUSE] < 0
        if due and now - state[mine + S_ATTENTION] >= after:
            state[mine + S_PRIORITY] = priority + 1
            state[mine + S_ATTENTION] = now
            alarm_emit(row, ESCALATED, 0, block, at, table, state, out)
            alarm_resume(table, state, out)
        return
    flags = table[my_row + R_FLAGS]
    # A reminder counts as heard only when it is over; until then nothing is due.
    if now < state[mine + S_REMIND_UNTIL]:
        return
    if now >= alarm_silence_end(mine, flags, table, state):
        state[mine + S_ACKNOWLEDGED] = 0
        state[mine + S_ATTENTION] = now
        alarm_emit(row, RE_ALARMED, 0, block, at, table, state, out)
    elif now >= alarm_reminder_due(mine, flags, table, state) and not state[G_PAUSE]:
        state[mine + S_REMIND_UNTIL] = now + BURST
        alarm_emit(row, REMINDED, 0, block, at, table, state, out)


def alarm_heard(mine, state):
    """Return the last step by which a whole burst of this row had sounded (its beginning counts too)."""
    run = state[mine + S_RUN]
    if run >= 0 and state[G_NOW] - run >= BURST:
        return state[G_NOW]
    return state[mine + S_HEARD]


def alarm_silence_end(mine, flags, table, state):
    """Return the step at which an acknowledgement ends, HIGHEST when it lasts as long as the condition.

    A row under a cause follows its cause; one below high that is leaving is let go.
    """
    end = HIGHEST
    if state[mine + S_CAUSE] >= 0 or alarm_is_going(mine, state):
        return end
    if flags & RE_ALARM:
        end = state[mine + S_ACKNOWLEDGED_AT] + table[T_RE_ALARM]
    if flags & CIRCUIT and state[mine + S_PRIORITY] == HIGH:
        end = min(end, alarm_heard(mine, state) + SILENCE_MAX)
    return end


def alarm_is_going(mine, state):
    """Tell whether a row below high only waits for its off-delay."""
    return state[mine + S_PHASE] == LEAVING and state[mine + S_PRIORITY] < HIGH


def alarm_reminder_due(mine, flags, table, state):
    """Return the step at which an acknowledged row reminds; low rows and those under a cause don't."""
    priority = state[mine + S_PRIORITY]
    if priority < MEDIUM or state[mine + S_CAUSE] >= 0 or alarm_is_going(mine, state):
        return HIGHEST
    if flags & CIRCUIT and priority == HIGH:
        return HIGHEST
    return alarm_heard(mine, state) + min(table[T_REMINDER], SILENCE_MAX)


def alarm_resume(table, state, out):
    """End a running pause."""
    if state[G_PAUSE]:
        state[G_PAUSE] = 0
        alarm_emit(NO_ROW, PAUSE_ENDED, 0, out, -1, table, state, out)


def alarm_pause_end(table, state, out):
    """End the pause when its time has come, or when nothing is left that it silences."""
    if not state[G_PAUSE]:
        return
    left = 0
    for row in range(table[T_ROWS]):
        mine = G_SIZE + row * S_SIZE
        if state[mine + S_PHASE] >= ACTIVE and not state[mine + S_ACKNOWLEDGED]:
            left = 1
    if not left or state[G_NOW] >= state[G_PAUSE]:
        alarm_resume(table, state, out)


def alarm_sounds(row, table, state):
    """Tell whether this row itself sounds now: 1 or 0."""
    mine = G_SIZE + row * S_SIZE
    if state[mine + S_PHASE] < ACTIVE or state[mine + S_CAUSE] >= 0:
        return 0
    if state[mine + S_ACKNOWLEDGED] and state[G_NOW] >= state[mine + S_REMIND_UNTIL]:
        return 0
    if state[G_PAUSE] and table[T_SIZE + row * R_SIZE + R_FLAGS] & MAY_PAUSE:
        return 0
    return 1


def alarm_sound(table, state):
    """Find the priorities of sound and lamp; G_SERIAL grows when a burst must start anew."""
    sound = 0
    lamp = 0
    standing = 0
    started = 0
    now = state[G_NOW]
    for row in range(table[T_ROWS]):
        mine = G_SIZE + row * S_SIZE
        if state[mine + S_PHASE] < ACTIVE:
            continue
        standing += 1
        lamp = max(lamp, state[mine + S_PRIORITY])
        cause = state[mine + S_CAUSE]
        sounds = alarm_sounds(row if cause < 0 else cause, table, state)
        if sounds and cause < 0:
            sound = max(sound, state[mine + S_PRIORITY])
        run = state[mine + S_RUN]
        if sounds and run < 0:
            state[mine + S_RUN] = now
            if cause < 0 and state[mine + S_PRIORITY] > started:
                started = state[mine + S_PRIORITY]
        elif not sounds and run >= 0:
            state[mine + S_HEARD] = alarm_heard(mine, state)
            state[mine + S_RUN] = -1
    if started and started >= sound:
        state[G_SERIAL] += 1
    state[G_SOUND] = sound
    state[G_LAMP] = lamp
    state[G_STANDING] = standing


def alarm_bands(block, at, table, state, low, high, seen):
    """Bound every input so that no condition can change while it stays inside; note what was seen."""
    for index in range(table[T_VALUES]):
        low[index] = NONE
        high[index] = HIGHEST
        seen[index] = block[at + index]
    alarm_pin(table[T_MODE], block, at, low, high)
    for row in range(table[T_ROWS]):
        my_row = T_SIZE + row * R_SIZE
        gate = table[my_row + R_GATE]
        if gate >= 0:
            alarm_pin(gate, block, at, low, high)
        if not alarm_is_open(my_row, block, at, table):
            continue
        index = table[my_row + R_VALUE]
        kind = table[my_row + R_KIND]
        if block[at + index] == NONE or kind == STATE:
            alarm_pin(index, block, at, low, high)
            continue
        limit = table[my_row + R_LIMIT]
        hold = limit
        if state[G_SIZE + row * S_SIZE + S_PHASE] >= ACTIVE:
            hold = table[my_row + R_CLEAR]
        true = state[G_SIZE + row * S_SIZE + S_TRUE]
        if kind == BELOW:
            if true:
                low[index] = max(low[index], NONE + 1)
                high[index] = min(high[index], max(hold, limit) - 1)
            else:
                low[index] = max(low[index], limit)
        elif true:
            low[index] = max(low[index], min(hold, limit) + 1)
        else:
            high[index] = min(high[index], limit)
            if kind == STALE:
                low[index] = max(low[index], NONE + 1)


def alarm_pin(index, block, at, low, high):
    """Let an input only stay as it is."""
    low[index] = block[at + index]
    high[index] = block[at + index]


def alarm_deadline(table, state):
    """Find the next step at which time alone changes something."""
    deadline = HIGHEST
    if state[G_PAUSE]:
        deadline = state[G_PAUSE]
    for row in range(table[T_ROWS]):
        mine = G_SIZE + row * S_SIZE
        phase = state[mine + S_PHASE]
        if phase == IDLE:
            continue
        my_row = T_SIZE + row * R_SIZE
        if phase == PENDING:
            deadline = min(deadline, state[mine + S_SINCE] + table[my_row + R_ON])
            continue
        if phase == LEAVING:
            deadline = min(deadline, state[mine + S_SINCE] + table[my_row + R_OFF])
        deadline = min(deadline, alarm_row_deadline(mine, my_row, table, state))
    state[G_DEADLINE] = deadline


def alarm_row_deadline(mine, my_row, table, state):
    """Return the step at which a standing row escalates, sounds again or reminds."""
    if not state[mine + S_ACKNOWLEDGED]:
        after = table[my_row + R_ESCALATE]
        if after and state[mine + S_PRIORITY] < HIGH and state[mine + S_CAUSE] < 0:
            return state[mine + S_ATTENTION] + after
        return HIGHEST
    if state[G_NOW] < state[mine + S_REMIND_UNTIL]:
        return state[mine + S_REMIND_UNTIL]
    flags = table[my_row + R_FLAGS]
    due = alarm_silence_end(mine, flags, table, state)
    if not state[G_PAUSE]:
        due = min(due, alarm_reminder_due(mine, flags, table, state))
    return due
