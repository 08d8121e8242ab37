"""Generated tables of the alarm system: rows, states, delays to disclose, settings, commands, log codes."""

from collections.abc import Callable, Iterable
from typing import Any

from firmware_sim.contract import alarms, channels, commands, log_codes, settings, values
from firmware_sim.contract.engine import number, on_delay
from firmware_sim.docs import table
from firmware_sim.kernels import alarms as k

# From the step that raises a row to the signal; measured on the bench within one step.
SIGNAL_MS = 200
DISCLOSE_S = 10.0
# What the drill breathes at the lower limit of the rate.
SLOW_BREATH_S = 12.0


def seconds(steps: int) -> str:
    """Write steps of 100 ms as seconds."""
    return f"{steps / 10:g}"


def condition_s(row: Any, preset: int) -> float:
    """Return a row's own delay in seconds, by the preset's defaults: on-delay, or the age it waits for."""
    defaults = settings.defaults(preset)
    waited: int = on_delay(row, defaults)
    if values.VALUES[row.value][4] == "age" and row.kind in (k.STALE, k.ABOVE):
        waited += number(row.limit, defaults)
    return waited / 10


def limit(row: Any) -> str:
    """Write a row's limit with the adult's default."""
    if row.kind == k.STATE:
        return "state " + ", ".join(str(code) for code in range(30) if row.limit >> code & 1)
    setting = settings.SETTINGS[settings.ID_OF[row.limit]]
    return f"`{row.limit}` {settings.in_units(setting.id, setting.adult)}"


def write_rows() -> str:
    """Write the alarm table."""
    lines: list[tuple[object, ...]] = []
    for row in alarms.ROWS:
        modes = [word for code, word in enumerate(channels.MODES) if row.modes >> code & 1]
        lines.append((
            row.id, f"`{row.name}`", alarms.PRIORITIES[row.priority], f"`{values.VALUES[row.value][1]}`",
            alarms.KINDS[row.kind], limit(row), "all" if len(modes) == 4 else ", ".join(modes),
            ", ".join(f"`{alarms.ROWS[cause].name}`" for cause in row.causes), rules(row), row.note,
        ))  # fmt: skip
    heads = (
        "id", "row", "priority", "input", "kind", "limit (adult)", "modes", "shown under", "rules", "from",
    )  # fmt: skip
    return table(heads, lines)


def rules(row: Any) -> str:
    """Write what is special about a row."""
    marks = {
        "latches": row.latching,
        "no pause": not row.may_pause,
        "no acknowledge": not row.may_acknowledge,
        "not from a page": not row.from_page,
        "from power-up": row.from_start,
        "rises": row.escalate is not None,
        "120 s rule": row.circuit and row.priority == k.HIGH,
    }
    return ", ".join(word for word, true in marks.items() if true)


def write_delays() -> str:
    """Write the delay of every row whose condition, measurement and signal together may pass 10 s."""
    from firmware_sim.rig.drill.cases import BREATH_S, CASES

    lines: list[tuple[object, ...]] = []
    for row in alarms.ROWS:
        case = CASES[row.name]
        waits = [condition_s(row, preset) for preset in (channels.PRESET_ADULT, channels.PRESET_CHILD)]
        # A limit that is itself a time is a lag to the drill, and part of the condition here.
        lag = max(0.0, round(case.lag_s - (waits[0] - on_delay(row, settings.defaults()) / 10), 1))
        total = max(waits) + case.period_s + lag + SIGNAL_MS / 1000
        if total > DISCLOSE_S:
            most = "" if row.delay_max is None else seconds(row.delay_max)
            period = "one breath" if case.period_s in (BREATH_S, SLOW_BREATH_S) else f"{case.period_s:g}"
            lines.append((
                f"`{row.name}`", alarms.PRIORITIES[row.priority], *[f"{wait:g}" for wait in waits], most,
                period, f"{lag:g}" if lag else "", case.why if lag else "", f"{SIGNAL_MS / 1000:g}",
            ))  # fmt: skip
    return table(("row", "priority", "condition s (adult)", "condition s (child)", "hard maximum s",
                  "period of the input s", "lag of the measurement s", "why", "signal s"), lines)


def write_states() -> str:
    """Write what each phase of a row does with each event."""
    what = alarms.PHASE_EVENTS
    rows = [(phase, *[what[phase][event] for event in alarms.EVENTS]) for phase in alarms.PHASES]
    return table(("phase", *alarms.EVENTS), rows)


def write_settings() -> str:
    """Write every setting with bounds and defaults."""
    rows = []
    for row in settings.SETTINGS:
        low, high, adult, child = [
            settings.in_units(row.id, value) for value in (row.low, row.high, row.adult, row.child)
        ]
        shown = child if row.patient else ""
        rows.append((row.id, f"`{row.name}`", low, high, adult, shown, row.scale, row.note))
    return table(("id", "setting", "lowest", "highest", "adult", "child", "steps in a unit", "from"), rows)


def write_commands() -> str:
    """Write every command with its body."""
    rows = []
    for code, name, fields, repeated, button, note in commands.COMMANDS:
        body = ", ".join(f"{field} `{letter}`" for field, letter, _, _ in fields)
        if repeated:
            body += "repeated: " + ", ".join(f"{field} `{letter}`" for field, letter, _, _ in repeated)
        rows.append((code, f"`{name}`", body, "yes" if button else "", note))
    return table(("code", "command", "body", "needs the button from a page", "what"), rows)


def write_self_test() -> str:
    """Write the parts of the self-test."""
    return table(("bit", "part", "passes when"), log_codes.SELF_TEST_PARTS)


def write_results() -> str:
    """Write the numbers of a command's result, of an alarm's transition and of a log entry."""
    flags = "1 paused, 2 acknowledged, 4 under a cause, 8 latched, 16 from a page, 32 row inactive"
    rows = [
        ("result of a command", listed(enumerate(commands.RESULTS))),
        ("transition of an alarm", listed(enumerate(alarms.TRANSITIONS))),
        ("flags of an alarm", flags),
        ("entry of the event log", listed((row[0], row[1]) for row in log_codes.CODES)),
    ]
    return table(("what", "number and meaning"), rows)


def listed(pairs: Iterable[tuple[int, str]]) -> str:
    """Write numbers with their words."""
    return ", ".join(f"{code} {word}" for code, word in pairs)


def write_inputs() -> str:
    """Write the engine's inputs."""
    rows = [(number_, f"`{name}`", unit, scale, kind) for number_, name, unit, scale, kind in values.VALUES]
    return table(("id", "input", "unit", "steps in a unit", "kind"), rows)


BLOCKS: dict[str, Callable[[], str]] = {
    "alarm-rows": write_rows,
    "alarm-delays": write_delays,
    "alarm-states": write_states,
    "engine-inputs": write_inputs,
    "settings": write_settings,
    "module-commands": write_commands,
    "alarm-codes": write_results,
    "self-test": write_self_test,
}
