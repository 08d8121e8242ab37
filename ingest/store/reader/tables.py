"""What the numbers of a store mean: alarm rows, settings, codes and flag bits, as the contract has them.

For those who read a store and must not know the firmware: the dashboard, reports, exports.
"""

from dataclasses import dataclass
from decimal import Decimal

from firmware_sim.contract import (
    STEP_MS,
    alarms,
    channels,
    commands,
    log_codes,
    messages,
    settings,
    values,
)

SUPPLY_STATES: tuple[str, ...] = channels.SUPPLY_STATES
OXYGEN_STATES: tuple[str, ...] = channels.OXYGEN_STATES
MODES: tuple[str, ...] = channels.MODES
PRESETS: tuple[str, ...] = channels.PRESETS
SENSOR_CONDITIONS: tuple[str, ...] = channels.SENSOR_CONDITIONS
BREATH_KINDS: tuple[str, ...] = channels.BREATH_KINDS
SUPPLY_EVENT_KINDS: tuple[str, ...] = channels.SUPPLY_EVENT_KINDS
CAPTURE_KINDS: tuple[str, ...] = channels.CAPTURE_KINDS
CHANNEL_NAMES: tuple[str, ...] = tuple(row[1] for row in channels.CHANNELS)
CHANNEL_UNITS: dict[str, str] = {row[1]: row[2] for row in channels.CHANNELS}
PRIORITIES: tuple[str, ...] = alarms.PRIORITIES
TRANSITIONS: tuple[str, ...] = alarms.TRANSITIONS

COMMANDS: dict[str, int] = dict(commands.CODE_OF)
COMMAND_RESULTS: tuple[str, ...] = commands.RESULTS
# The message that carries an entry of the module's event log, and what an entry may be.
LOG: int = messages.LOG
LOG_CODES: dict[str, int] = {name: code for code, name in log_codes.NAMES.items()}
# As the row of an acknowledgement: all that stands.
ALL_ROWS = 255

# Bits of the trend's code `flags`, by name.
TREND_FLAGS: dict[str, int] = {
    name.removeprefix("FLAG_").lower(): bit
    for name, bit in vars(messages).items()
    if name.startswith("FLAG_")
}


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmRow:
    """Describe one row of the alarm table; `key` is its text key, `scale` wire steps in one `unit`.

    `limit` names the setting that holds its limit, None for rows that watch a code. `may_pause` and
    `from_page` tell whether its sound may be paused at all, and by a page.
    """

    id: int
    name: str
    key: str
    group: str
    priority: int
    unit: str
    scale: int
    limit: str | None
    may_pause: bool
    from_page: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingRow:
    """Describe one setting: its place in the values in force, unit, steps in one unit, bounds in units.

    `patient`: a preset sets it. `own_command`: not one of those that are set together. `note`: where its
    default comes from.
    """

    id: int
    name: str
    unit: str
    scale: int
    low: float
    high: float
    group: str
    choices: tuple[str, ...]
    patient: bool
    own_command: bool
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingFault:
    """Say why a set of settings is refused: the setting, and the other that it contradicts, if one does.

    `reason`: bounds, order, sensor, confirmed, frequency.
    """

    reason: str
    setting: str
    other: str | None = None


def _alarm(row: "alarms.Row") -> AlarmRow:
    _, _, unit, scale, _ = values.VALUES[row.value]
    return AlarmRow(
        id=row.id,
        name=row.name,
        key=alarms.text_key(row.id),
        group=row.group,
        priority=row.priority,
        unit=unit,
        scale=scale,
        limit=row.limit if isinstance(row.limit, str) else None,
        may_pause=row.may_pause,
        from_page=row.from_page,
    )


def _setting(row: "settings.Setting") -> SettingRow:
    return SettingRow(
        id=row.id,
        name=row.name,
        unit=row.unit,
        scale=row.scale,
        low=row.low / row.scale,
        high=row.high / row.scale,
        group=row.group,
        choices=tuple(settings.CHOICES.get(row.name, ())),
        patient=row.patient,
        own_command=row.name in settings.OWN_COMMAND or row.name == "module.preset",
        note=row.note,
    )


ALARMS: tuple[AlarmRow, ...] = tuple(_alarm(row) for row in alarms.ROWS)
SETTINGS: dict[str, SettingRow] = {row.name: _setting(row) for row in settings.SETTINGS}


def setting_value(in_force: tuple[int, ...], name: str) -> float:
    """Return one setting in its unit from the values in force. Raise KeyError for an unknown name."""
    row = SETTINGS[name]
    return in_force[row.id] / row.scale


def setting_text(name: str, steps: int) -> str:
    """Return a setting's value as a person types it: a number in its unit, the unit left off, or a word."""
    row = SETTINGS[name]
    if row.choices:
        return row.choices[steps]
    return f"{Decimal(steps) / row.scale:f}"


def preset_values(in_force: tuple[int, ...], preset: str) -> tuple[int, ...]:
    """Return all settings as the adult or the child preset leaves them. Raise ValueError for infant."""
    return tuple(settings.apply_preset(list(in_force), PRESETS.index(preset)))


def setting_faults(wanted: tuple[int, ...]) -> list[SettingFault]:
    """Return why the module would refuse a whole set of settings: bounds before contradictions; else none."""
    faults = [
        SettingFault(reason="bounds", setting=row.name)
        for row in settings.SETTINGS
        if not row.low <= wanted[row.id] <= row.high
    ]
    faults = faults or [
        SettingFault(reason="order", setting=first, other=second)
        for first, second, margin, _ in settings.ORDER
        if wanted[settings.ID_OF[first]] + margin > wanted[settings.ID_OF[second]]
    ]
    refused = None if faults else settings.check(list(wanted))
    return faults if refused is None else [_fault(refused[0], settings.SETTINGS[refused[1]].name)]


def _fault(reason: int, setting: str) -> SettingFault:
    if reason == settings.BEYOND_SENSOR:
        return SettingFault(reason="sensor", setting=setting)
    return SettingFault(
        reason="confirmed" if reason == settings.CONTRADICTION else "frequency", setting=setting
    )


def disconnect_delay_s(in_force: tuple[int, ...]) -> float:
    """Return the delay of the row 'circuit apart' in s, as the module works it out from the settings."""
    return float(settings.disconnect_delay(list(in_force))) * STEP_MS / 1000


def sensor_condition(sensors: int, channel: str) -> str:
    """Return the condition of a channel's sensor: three bits of the code `sensors` each."""
    place = CHANNEL_NAMES.index(channel)
    return SENSOR_CONDITIONS[min(sensors >> (3 * place) & 7, len(SENSOR_CONDITIONS) - 1)]


def command_body(
    name: str, values: tuple[int, ...] = (), repeated: tuple[tuple[int, ...], ...] = ()
) -> bytes:
    """Return the body of a command by name; raise ValueError for a value outside its field."""
    return bytes(commands.pack(commands.CODE_OF[name], values, repeated))


def needs_button(name: str) -> bool:
    """Tell whether a page may send this command only after a press of the module's own button."""
    return bool(commands.needs_button(commands.CODE_OF[name]))
