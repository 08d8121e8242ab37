"""The contract as C99, for a board that speaks C: header and tables are generated, the codec is one file."""

from pathlib import Path

from firmware_sim.contract import (
    PRESSURE_RATE_HZ,
    REVISION,
    STEP_MS,
    SUPPLY_RATE_HZ,
    alarms,
    channels,
    commands,
    digest,
    frames,
    log_codes,
    messages,
    settings,
    values,
)

TEMPLATES = Path(__file__).parent / "templates"
HEADER = "nightkeel_contract.h"
TABLES = "nightkeel_tables.c"
CODEC = "nightkeel_codec.c"

Named = list[tuple[str, int]]


def files() -> dict[str, str]:
    """Return the text of each file by its name."""
    header = (TEMPLATES / HEADER).read_text("utf-8")
    header = header.replace("@CONSTANTS@", write_constants()).replace("@ENUMS@", write_enums())
    return {HEADER: header, TABLES: write_tables(), CODEC: (TEMPLATES / CODEC).read_text("utf-8")}


def write_constants() -> str:
    """Write sizes, rates and the digest as macros."""
    low, high = digest.digest()
    rows = {
        "REVISION": REVISION,
        "DIGEST_LOW": f"0x{low:08X}u",
        "DIGEST_HIGH": f"0x{high:08X}u",
        "STEP_MS": STEP_MS,
        "SUPPLY_RATE_HZ": SUPPLY_RATE_HZ,
        "PRESSURE_RATE_HZ": PRESSURE_RATE_HZ,
        "HEADER_SIZE": frames.HEADER_SIZE,
        "PAYLOAD_MAX": frames.PAYLOAD_MAX,
        "MAC_SIZE": frames.MAC_SIZE,
        "MAC_BIT": f"0x{frames.MAC_BIT:02X}u",
        "BODY_MAX": frames.FRAME_MAX - 5,
        "FRAME_MAX": frames.FRAME_MAX,
        "MESSAGE_COUNT": len(messages.MESSAGES),
        "FIELDS_MAX": max(len(row[4]) for row in messages.MESSAGES),
        "ALARM_COUNT": alarms.COUNT,
        "INPUT_NONE": f"({-(1 << 30)})",
    }
    return "\n".join(f"#define NK_{name} {value}" for name, value in rows.items())


def write_enums() -> str:
    """Write every number that has a name: messages, their fields, alarms, inputs, settings and lists."""
    groups: dict[str, Named] = {"MESSAGE": [(row[1], row[0]) for row in messages.MESSAGES]}
    for _, name, _, _, fields, _ in messages.MESSAGES:
        groups[name] = [(field[0], index) for index, field in enumerate(fields)]
    groups["ALARM_ROW"] = [(row.name, row.id) for row in alarms.ROWS]
    groups["INPUT"] = [(row[1], row[0]) for row in values.VALUES]
    groups["CHANNEL"] = [(row[1], row[0]) for row in channels.CHANNELS]
    groups["SETTING"] = [(row.name, row.id) for row in settings.SETTINGS]
    groups["COMMAND_CODE"] = [(row[1], row[0]) for row in commands.COMMANDS]
    groups["LOG_CODE"] = [(row[1], row[0]) for row in log_codes.CODES]
    for name, words in LISTS.items():
        groups[name] = [(word, code) for code, word in enumerate(words)]
    groups["FLAG"] = [(n[5:], v) for n, v in vars(messages).items() if n.startswith("FLAG_")]
    return "\n\n".join(write_enum(name, rows) for name, rows in groups.items() if rows)


LISTS = {
    "PRIORITY": alarms.PRIORITIES,
    "TRANSITION": alarms.TRANSITIONS,
    "RESULT": commands.RESULTS,
    "STATE": channels.SUPPLY_STATES,
    "OXYGEN_STATE": channels.OXYGEN_STATES,
    "SENSOR": channels.SENSOR_CONDITIONS,
    "MODE": channels.MODES,
    "PRESET": channels.PRESETS,
    "BREATH_KIND": channels.BREATH_KINDS,
    "EVENT_KIND": channels.SUPPLY_EVENT_KINDS,
    "EVENT_PHASE": channels.EVENT_PHASES,
    "CAPTURE_KIND": channels.CAPTURE_KINDS,
}


def identifier(group: str, name: str) -> str:
    """Return the C name of a member."""
    return f"NK_{group}_{name}".upper().replace(".", "_")


def write_enum(group: str, rows: Named) -> str:
    """Write one enumeration."""
    members = ",\n".join(f"    {identifier(group, name)} = {value}" for name, value in rows)
    return f"enum nk_{group.lower()}_number {{\n{members}\n}};"


def write_tables() -> str:
    """Write the table of layouts and the names of the alarm rows."""
    rows = []
    for number, name, _, reliable, fields, tail in messages.MESSAGES:
        codes = "".join(field[1][0] for field in fields)
        missing = "".join("?" if field[1].endswith("?") else "." for field in fields)
        code = f"'{tail[1][0]}'" if tail else "0"
        rows.append(f'    {{0x{number:02X}, {int(reliable)}, "{name}", "{codes}", "{missing}", {code}}},')
    names = [f'    "{row.name}",' for row in alarms.ROWS]
    return "\n".join([
        f'/* Generated with {HEADER}. SPDX-License-Identifier: Apache-2.0 */\n#include "{HEADER}"\n',
        "const struct nk_layout nk_layouts[NK_MESSAGE_COUNT] = {", *rows, "};\n",
        "const char *const nk_alarm_names[NK_ALARM_COUNT] = {", *names, "};\n",
    ])  # fmt: skip
