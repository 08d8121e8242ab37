"""Explore the shipped engine: every order of conditions, buttons, resets and waits, to a depth.

Conditions are abstracted to true or false at the inputs; what runs is the engine and its kernel themselves.
States are compared after times were taken relative to the present, so that each is visited once.
"""

from array import array

import numpy as np

from firmware_sim.contract import alarms, settings, values
from firmware_sim.contract.engine import Engine, compile_table
from firmware_sim.kernels import alarms as k
from tests.support.alarm_bench import Edges, quiet

# A silence: 120 s, and one step between its end and the sound.
SILENCE_STEPS_MAX = k.SILENCE_MAX + 1
# Relative times beyond this make no difference to anything.
FAR = 8000
TIMES = (k.S_SINCE, k.S_RAISED, k.S_ACKNOWLEDGED_AT, k.S_HEARD, k.S_RUN, k.S_PAUSE_LAST, k.S_PAUSE_BEFORE,
         k.S_REMIND_UNTIL, k.S_ATTENTION)
CHUNK = 1300


class Broken(AssertionError):
    """A property does not hold; says which and after what."""


class Node:
    """One state of the engine with what the properties must remember of the way to it."""

    __slots__ = ("engine", "inputs", "owed", "path", "silent")

    def __init__(self, engine, inputs, silent=0, owed=frozenset(), path=()):
        self.engine, self.inputs, self.silent, self.owed, self.path = engine, inputs, silent, owed, path


class Explorer:
    """Walk from a calm start over `names` of rows whose conditions come and go.

    `visited` states, `steps` of engine time and `events` tried are counted.
    """

    def __init__(self, names, steps, table=None):
        self.rows = [alarms.ROWS[alarms.ID_OF[name]] for name in names]
        self.table = compile_table(settings.defaults()) if table is None else table
        inputs = {row.value for row in self.rows}
        # Every row that looks at an input that is played with.
        self.touched = [row.id for row in alarms.ROWS
                        if row.value in inputs or (row.gate and row.gate[0] in inputs)]
        self.edges = {row.id: Edges(row, self.table) for row in self.rows}
        self.kernel = steps
        self.block = array("i", [0] * (values.COUNT * CHUNK))
        self.view = np.frombuffer(self.block, dtype=np.int32).reshape(CHUNK, values.COUNT)
        self.state_view = None
        self.seen = set()
        self.events_tried = 0
        self.engine_steps = 0

    def start(self):
        """Return the first node: powered up, calm."""
        node = Node(Engine(self.table, self.kernel), self.with_causes(quiet()))
        self.run(node, 1)
        return node

    def with_causes(self, inputs):
        """Open the gates of the rows under test."""
        for row in self.rows:
            if row.gate and row.gate[0] != values.SUPPLY_STATE:
                inputs[row.gate[0]] = next(code for code in range(30) if row.gate[1] >> code & 1)
        return inputs

    def copy(self, node, event):
        """Return an independent copy of a node, one event further on its path."""
        engine = Engine.__new__(Engine)
        old = node.engine
        engine.table, engine.steps = old.table, old.steps
        engine.state = array("i", old.state)
        engine.low, engine.high, engine.seen = array("i", old.low), array("i", old.high), array("i", old.seen)
        engine.out = old.out
        return Node(engine, array("i", node.inputs), node.silent, node.owed, (*node.path, event))

    def events(self):
        """Return every event: (name, argument)."""
        toggles = [("toggle", row.id) for row in self.rows]
        waits = [("wait", steps) for steps in (1, 31, 300, 1195)]
        return [*toggles, ("pause", False), ("pause", True), ("acknowledge", False), ("acknowledge", True),
                ("reset", None), *waits]

    def apply(self, node, event):
        """Return the node after an event and one step of time."""
        new = self.copy(node, event)
        name, argument = event
        steps = 1
        if name == "toggle":
            self.toggle(new, argument)
        elif name == "pause":
            new.engine.pause(argument)
        elif name == "acknowledge":
            new.engine.acknowledge(k.NO_ROW, argument)
        elif name == "reset":
            self.reset(new)
        else:
            steps = argument
        self.run(new, steps)
        return new

    def toggle(self, node, row_id):
        """Turn one condition to true or back."""
        edges, value = self.edges[row_id], alarms.ROWS[row_id].value
        node.inputs[value] = edges.clear if node.inputs[value] == edges.outside else edges.outside

    def reset(self, node):
        """Let the module restart: a fresh engine, the same limits, latched rows from the log."""
        latched = node.engine.latched()
        node.engine = Engine(self.table, self.kernel)
        node.engine.restore(latched)

    def run(self, node, steps):
        """Let time pass, looking at the properties wherever something can change."""
        engine = node.engine
        self.view[:steps] = np.frombuffer(node.inputs, dtype=np.int32)
        left = steps
        while left:
            deadline = engine.state[k.G_DEADLINE] - engine.state[k.G_NOW]
            # Up to the deadline nothing changes; the step at the deadline is looked at by itself.
            count = 1 if deadline <= 0 else min(left, deadline)
            taken = engine.run(self.block, 0, count)
            left -= taken
            self.engine_steps += taken
            self.look(node, taken)
            engine.clear()

    def look(self, node, taken):
        """Hold the five properties after `taken` steps in which one state stood."""
        engine, state = node.engine, node.engine.state
        high = False
        for row in self.standing(engine):
            high = high or state[k.G_SIZE + row * k.S_SIZE + k.S_PRIORITY] == k.HIGH
        self.hold(not high or engine.lamp() == k.HIGH, node, "a standing high condition has no lamp")
        node.silent = 0 if engine.sound() or not high else node.silent + taken
        self.hold(node.silent <= SILENCE_STEPS_MAX, node, f"silent for {node.silent / 10} s")
        self.hold(state[k.G_PAUSE] - state[k.G_NOW] <= k.SILENCE_MAX, node, "a pause outlasts 120 s")
        if high and not engine.sound():
            self.hold(self.accounted(engine), node, "a high condition is silent, and nobody silenced it")
        self.latches(node)

    def accounted(self, engine):
        """Tell whether every silent high row is paused, acknowledged, or under a cause that is."""
        return engine.state[k.G_PAUSE] != 0 or all(
            engine.acknowledged(row) for row in self.standing(engine)
            if engine.state[k.G_SIZE + row * k.S_SIZE + k.S_PRIORITY] == k.HIGH)

    def latches(self, node):
        """Keep a book of what latching rows owe: raised, not acknowledged, so they must stand."""
        owed = set(node.owed)
        for index in range(node.engine.state[k.G_OUT]):
            row, code, *_ = node.engine.transition(index)
            if row != k.NO_ROW and alarms.ROWS[row].latching:
                if code in (k.RAISED, k.RESTORED, k.RE_ALARMED):
                    owed.add(row)
                elif code == k.ACKNOWLEDGED:
                    owed.discard(row)
        node.owed = frozenset(owed)
        for row in node.owed:
            self.hold(node.engine.stands(row), node, alarms.ROWS[row].name + " was latched and is lost")

    def armed(self, node):
        """After a reset every present condition signals again within its own delay, at the same limits."""
        probe = self.copy(node, ("reset", None))
        self.reset(probe)
        self.run(probe, 202)
        for row in self.rows:
            if probe.inputs[row.value] == self.edges[row.id].outside and self.is_open(row, probe.inputs):
                self.hold(probe.engine.stands(row.id), probe, f"a reset cleared {row.name}")

    def is_open(self, row, inputs):
        """Tell whether the row's gate lets it be judged."""
        return row.gate is None or bool(row.gate[1] >> inputs[row.gate[0]] & 1)

    def standing(self, engine):
        """Return the ids of standing rows, quickly."""
        at = k.G_SIZE + k.S_PHASE
        return [row for row in self.touched if engine.state[at + row * k.S_SIZE] >= k.ACTIVE]

    def hold(self, true, node, what):
        """Raise Broken with the way to the state when a property does not hold."""
        if not true:
            way = ", ".join(f"{name} {argument}" for name, argument in node.path)
            raise Broken(f"{what}; after: {way}")

    def key(self, node):
        """Return the state with times relative to now, so that equal states look equal."""
        state = node.engine.state
        now = state[k.G_NOW]
        rows = np.frombuffer(state, dtype=np.int32)[k.G_SIZE:].reshape(-1, k.S_SIZE)[self.touched]
        rows[:, TIMES] = np.maximum(rows[:, TIMES] - now, -FAR)
        rows[rows[:, k.S_PHASE] == k.IDLE] = 0
        rows[rows[:, k.S_PHASE] == k.PENDING, k.S_RAISED:] = 0
        head = (state[k.G_PAUSE] - now if state[k.G_PAUSE] else -1, state[k.G_SOUND], node.silent, now == 0)
        return hash((head, rows.tobytes(), node.inputs.tobytes(), node.owed))

    def explore(self, depth):
        """Visit every state within `depth` events; return how many there are."""
        frontier = [self.start()]
        self.seen = {self.key(frontier[0])}
        for _ in range(depth):
            frontier = self.widen(frontier)
        return len(self.seen)

    def widen(self, frontier):
        """Return the new states one event further on."""
        found = []
        for node in frontier:
            for event in self.events():
                self.events_tried += 1
                new = self.apply(node, event)
                key = self.key(new)
                if key not in self.seen:
                    self.seen.add(key)
                    self.armed(new)
                    found.append(new)
        return found
