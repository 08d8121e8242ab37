"""The shape of the store, one named migration a step. A migration that has shipped is never edited.

`id` of a record is boot << 32 | sequence: order of record is order of id, and a replayed record meets its
own key. `tick` is the module's millisecond clock since boot, widened past its wrap (raw tick = tick modulo
2^32). Estimated UTC of a row = boot.utc0 + tick + tick * boot.rate_ppb / 1e9.
"""

import sqlite3

from ingest.errors import UserError

# "nkl1", so that another program's database is told apart from a store.
APPLICATION_ID = 0x6E6B6C31

_FIRST = """
CREATE TABLE migration (
    number INTEGER PRIMARY KEY, name TEXT NOT NULL, utc INTEGER NOT NULL
) STRICT;
CREATE TABLE module (
    id INTEGER PRIMARY KEY, emulated INTEGER NOT NULL, profile INTEGER NOT NULL, firmware TEXT NOT NULL,
    nominal_v INTEGER NOT NULL, nominal_hz INTEGER NOT NULL, site TEXT NOT NULL, bed TEXT NOT NULL,
    first_utc INTEGER NOT NULL, last_utc INTEGER NOT NULL
) STRICT;
CREATE TABLE boot (
    id INTEGER PRIMARY KEY, module INTEGER NOT NULL REFERENCES module (id), boot_id INTEGER NOT NULL,
    revision INTEGER NOT NULL, digest_low INTEGER NOT NULL, digest_high INTEGER NOT NULL,
    firmware TEXT NOT NULL, emulated INTEGER NOT NULL, first_utc INTEGER NOT NULL,
    last_seq INTEGER NOT NULL, last_tick INTEGER NOT NULL, utc0 INTEGER NOT NULL, rate_ppb INTEGER NOT NULL,
    UNIQUE (module, boot_id)
) STRICT;
CREATE TABLE clock (
    boot INTEGER NOT NULL REFERENCES boot (id), tick INTEGER NOT NULL, utc0 INTEGER NOT NULL,
    rate_ppb INTEGER NOT NULL, residual_ms INTEGER NOT NULL, module_utc INTEGER, step INTEGER NOT NULL,
    PRIMARY KEY (boot, tick)
) STRICT, WITHOUT ROWID;
CREATE TABLE session (
    id INTEGER PRIMARY KEY, boot INTEGER REFERENCES boot (id), link TEXT NOT NULL,
    opened_utc INTEGER NOT NULL, seen_utc INTEGER NOT NULL, closed_utc INTEGER, reason TEXT NOT NULL,
    bytes INTEGER NOT NULL, frames INTEGER NOT NULL, records INTEGER NOT NULL, stuffing INTEGER NOT NULL,
    short INTEGER NOT NULL, crc INTEGER NOT NULL, mac INTEGER NOT NULL, unknown INTEGER NOT NULL,
    length INTEGER NOT NULL, overlong INTEGER NOT NULL, duplicate INTEGER NOT NULL, ahead INTEGER NOT NULL,
    foreign_boot INTEGER NOT NULL, resend INTEGER NOT NULL,
    UNIQUE (link, opened_utc)
) STRICT;
CREATE TABLE run (
    boot INTEGER NOT NULL REFERENCES boot (id), first_tick INTEGER NOT NULL, last_tick INTEGER NOT NULL,
    PRIMARY KEY (boot, first_tick)
) STRICT, WITHOUT ROWID;
CREATE TABLE gap (
    boot INTEGER NOT NULL REFERENCES boot (id), first_seq INTEGER NOT NULL, last_seq INTEGER NOT NULL,
    from_tick INTEGER NOT NULL, to_tick INTEGER NOT NULL, count INTEGER NOT NULL, kinds INTEGER NOT NULL,
    reason TEXT NOT NULL,
    PRIMARY KEY (boot, first_seq)
) STRICT, WITHOUT ROWID;
CREATE TABLE band (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, supply_state INTEGER NOT NULL,
    oxygen_state INTEGER NOT NULL, mode INTEGER NOT NULL, preset INTEGER NOT NULL, sensors INTEGER NOT NULL,
    flags INTEGER NOT NULL
) STRICT;
CREATE TABLE host_command (
    id INTEGER PRIMARY KEY, boot INTEGER NOT NULL REFERENCES boot (id), command_seq INTEGER NOT NULL,
    utc INTEGER NOT NULL, command INTEGER NOT NULL, body BLOB NOT NULL, operator TEXT NOT NULL,
    reason TEXT NOT NULL, from_page INTEGER NOT NULL, sent_utc INTEGER, answered_utc INTEGER,
    result INTEGER, detail INTEGER, answer TEXT NOT NULL,
    UNIQUE (boot, command_seq)
) STRICT;
CREATE TABLE mark (
    id INTEGER PRIMARY KEY, mark INTEGER NOT NULL, version INTEGER NOT NULL, module INTEGER NOT NULL,
    boot INTEGER, tick INTEGER, utc INTEGER NOT NULL, utc_end INTEGER, kind TEXT NOT NULL,
    author TEXT NOT NULL, text TEXT NOT NULL, data TEXT NOT NULL, recorded_utc INTEGER NOT NULL,
    removed INTEGER NOT NULL,
    UNIQUE (mark, version)
) STRICT;
CREATE INDEX mark_by_time ON mark (module, utc);
CREATE TABLE sink (
    name TEXT NOT NULL, boot INTEGER NOT NULL REFERENCES boot (id), seq INTEGER NOT NULL,
    PRIMARY KEY (name, boot)
) STRICT, WITHOUT ROWID;
CREATE TABLE rollup_minute (
    id INTEGER PRIMARY KEY, n INTEGER NOT NULL,
    supply_in_min INTEGER, supply_in_max INTEGER, supply_in_sum INTEGER, supply_in_n INTEGER NOT NULL,
    supply_out_min INTEGER, supply_out_max INTEGER, supply_out_sum INTEGER, supply_out_n INTEGER NOT NULL,
    frequency_in_min INTEGER, frequency_in_max INTEGER, frequency_in_sum INTEGER,
    frequency_in_n INTEGER NOT NULL,
    frequency_out_min INTEGER, frequency_out_max INTEGER, frequency_out_sum INTEGER,
    frequency_out_n INTEGER NOT NULL,
    pressure_min INTEGER, pressure_max INTEGER, pressure_sum INTEGER, pressure_n INTEGER NOT NULL,
    oxygen_min INTEGER, oxygen_max INTEGER, oxygen_sum INTEGER, oxygen_n INTEGER NOT NULL,
    rail_min INTEGER, rail_max INTEGER, rail_sum INTEGER, rail_n INTEGER NOT NULL,
    battery_min INTEGER, battery_max INTEGER, battery_sum INTEGER, battery_n INTEGER NOT NULL,
    product_pressure_min INTEGER, product_pressure_max INTEGER, product_pressure_sum INTEGER,
    product_pressure_n INTEGER NOT NULL,
    battery_voltage_min INTEGER, battery_voltage_max INTEGER, battery_voltage_sum INTEGER,
    battery_voltage_n INTEGER NOT NULL,
    ups_current_min INTEGER, ups_current_max INTEGER, ups_current_sum INTEGER, ups_current_n INTEGER NOT NULL,
    surge_peak_min INTEGER, surge_peak_max INTEGER, surge_peak_sum INTEGER, surge_peak_n INTEGER NOT NULL
) STRICT;
CREATE TABLE rollup_hour (
    id INTEGER PRIMARY KEY, n INTEGER NOT NULL,
    supply_in_min INTEGER, supply_in_max INTEGER, supply_in_sum INTEGER, supply_in_n INTEGER NOT NULL,
    supply_out_min INTEGER, supply_out_max INTEGER, supply_out_sum INTEGER, supply_out_n INTEGER NOT NULL,
    frequency_in_min INTEGER, frequency_in_max INTEGER, frequency_in_sum INTEGER,
    frequency_in_n INTEGER NOT NULL,
    frequency_out_min INTEGER, frequency_out_max INTEGER, frequency_out_sum INTEGER,
    frequency_out_n INTEGER NOT NULL,
    pressure_min INTEGER, pressure_max INTEGER, pressure_sum INTEGER, pressure_n INTEGER NOT NULL,
    oxygen_min INTEGER, oxygen_max INTEGER, oxygen_sum INTEGER, oxygen_n INTEGER NOT NULL,
    rail_min INTEGER, rail_max INTEGER, rail_sum INTEGER, rail_n INTEGER NOT NULL,
    battery_min INTEGER, battery_max INTEGER, battery_sum INTEGER, battery_n INTEGER NOT NULL,
    product_pressure_min INTEGER, product_pressure_max INTEGER, product_pressure_sum INTEGER,
    product_pressure_n INTEGER NOT NULL,
    battery_voltage_min INTEGER, battery_voltage_max INTEGER, battery_voltage_sum INTEGER,
    battery_voltage_n INTEGER NOT NULL,
    ups_current_min INTEGER, ups_current_max INTEGER, ups_current_sum INTEGER, ups_current_n INTEGER NOT NULL,
    surge_peak_min INTEGER, surge_peak_max INTEGER, surge_peak_sum INTEGER, surge_peak_n INTEGER NOT NULL
) STRICT;
CREATE TABLE rollup_day (
    id INTEGER PRIMARY KEY, n INTEGER NOT NULL,
    supply_in_min INTEGER, supply_in_max INTEGER, supply_in_sum INTEGER, supply_in_n INTEGER NOT NULL,
    supply_out_min INTEGER, supply_out_max INTEGER, supply_out_sum INTEGER, supply_out_n INTEGER NOT NULL,
    frequency_in_min INTEGER, frequency_in_max INTEGER, frequency_in_sum INTEGER,
    frequency_in_n INTEGER NOT NULL,
    frequency_out_min INTEGER, frequency_out_max INTEGER, frequency_out_sum INTEGER,
    frequency_out_n INTEGER NOT NULL,
    pressure_min INTEGER, pressure_max INTEGER, pressure_sum INTEGER, pressure_n INTEGER NOT NULL,
    oxygen_min INTEGER, oxygen_max INTEGER, oxygen_sum INTEGER, oxygen_n INTEGER NOT NULL,
    rail_min INTEGER, rail_max INTEGER, rail_sum INTEGER, rail_n INTEGER NOT NULL,
    battery_min INTEGER, battery_max INTEGER, battery_sum INTEGER, battery_n INTEGER NOT NULL,
    product_pressure_min INTEGER, product_pressure_max INTEGER, product_pressure_sum INTEGER,
    product_pressure_n INTEGER NOT NULL,
    battery_voltage_min INTEGER, battery_voltage_max INTEGER, battery_voltage_sum INTEGER,
    battery_voltage_n INTEGER NOT NULL,
    ups_current_min INTEGER, ups_current_max INTEGER, ups_current_sum INTEGER, ups_current_n INTEGER NOT NULL,
    surge_peak_min INTEGER, surge_peak_max INTEGER, surge_peak_sum INTEGER, surge_peak_n INTEGER NOT NULL
) STRICT;
CREATE TABLE trend (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "in_rms" INTEGER, "in_min" INTEGER,
    "in_max" INTEGER, "out_rms" INTEGER, "out_min" INTEGER, "out_max" INTEGER,
    "in_frequency" INTEGER, "out_frequency" INTEGER, "pressure_mean" INTEGER,
    "pressure_min" INTEGER, "pressure_max" INTEGER, "oxygen" INTEGER, "rail" INTEGER,
    "battery" INTEGER, "supply_state" INTEGER NOT NULL, "oxygen_state" INTEGER NOT NULL,
    "mode" INTEGER NOT NULL, "preset" INTEGER NOT NULL, "sensors" INTEGER NOT NULL,
    "flags" INTEGER NOT NULL, "pause_left" INTEGER NOT NULL, "product_pressure" INTEGER,
    "battery_voltage" INTEGER, "ups_current" INTEGER, "surge_peak" INTEGER
) STRICT;
CREATE TABLE pressure_wave (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "wave" BLOB NOT NULL
) STRICT;
CREATE TABLE supply_cycles (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "count_in" INTEGER NOT NULL,
    "count_out" INTEGER NOT NULL, "flagged_in" INTEGER NOT NULL, "flagged_out" INTEGER NOT NULL,
    "rms" BLOB NOT NULL
) STRICT;
CREATE TABLE breath (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "kind" INTEGER NOT NULL, "peak" INTEGER NOT NULL,
    "plateau" INTEGER, "end_expiratory" INTEGER NOT NULL, "mean" INTEGER NOT NULL,
    "minimum" INTEGER NOT NULL, "ti" INTEGER NOT NULL, "te" INTEGER NOT NULL, "rate" INTEGER,
    "flags" INTEGER NOT NULL
) STRICT;
CREATE TABLE supply_event (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "event_id" INTEGER NOT NULL,
    "tap" INTEGER NOT NULL, "kind" INTEGER NOT NULL, "phase" INTEGER NOT NULL,
    "start_tick" INTEGER NOT NULL, "duration" INTEGER NOT NULL, "extreme" INTEGER NOT NULL,
    "flags" INTEGER NOT NULL
) STRICT;
CREATE TABLE capture (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "capture_id" INTEGER NOT NULL,
    "event_id" INTEGER, "kind" INTEGER NOT NULL, "tap" INTEGER NOT NULL, "part" INTEGER NOT NULL,
    "parts" INTEGER NOT NULL, "start_tick" INTEGER NOT NULL, "start_us" INTEGER NOT NULL,
    "gain" INTEGER NOT NULL, "offset" INTEGER NOT NULL, "codes" BLOB NOT NULL
) STRICT;
CREATE TABLE half_cycles (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "capture_id" INTEGER NOT NULL,
    "tap" INTEGER NOT NULL, "start_tick" INTEGER NOT NULL, "period" INTEGER NOT NULL,
    "rms" BLOB NOT NULL
) STRICT;
CREATE TABLE alarm (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "row" INTEGER NOT NULL,
    "transition" INTEGER NOT NULL, "priority" INTEGER NOT NULL, "flags" INTEGER NOT NULL,
    "value" INTEGER, "limit" INTEGER, "cause" INTEGER
) STRICT;
CREATE TABLE log (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "code" INTEGER NOT NULL,
    "first" INTEGER NOT NULL, "second" INTEGER NOT NULL, "text" TEXT NOT NULL
) STRICT;
CREATE TABLE settings (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "version" INTEGER NOT NULL,
    "digest" INTEGER NOT NULL, "part" INTEGER NOT NULL, "parts" INTEGER NOT NULL,
    "first" INTEGER NOT NULL, "values" BLOB NOT NULL
) STRICT;
CREATE TABLE health (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "unix_s" INTEGER NOT NULL,
    "unix_ms" INTEGER NOT NULL, "clock_set" INTEGER NOT NULL, "loop_us_max" INTEGER NOT NULL,
    "ring_bytes" INTEGER NOT NULL, "ring_fill" INTEGER NOT NULL, "memory_free" INTEGER NOT NULL,
    "frames_sent" INTEGER NOT NULL, "frames_resent" INTEGER NOT NULL, "frames_bad" INTEGER NOT NULL,
    "records_lost" INTEGER NOT NULL, "flash_wear" INTEGER NOT NULL, "resets" INTEGER NOT NULL,
    "last_reset" INTEGER NOT NULL, "log_fill" INTEGER NOT NULL
) STRICT;
CREATE TABLE inputs (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "steps" INTEGER NOT NULL,
    "whole" INTEGER NOT NULL, "changes" BLOB NOT NULL
) STRICT;
CREATE TABLE command_result (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "command_seq" INTEGER NOT NULL,
    "command" INTEGER NOT NULL, "result" INTEGER NOT NULL, "detail" INTEGER NOT NULL,
    "text" TEXT NOT NULL
) STRICT;
CREATE TABLE lost (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "first_seq" INTEGER NOT NULL,
    "last_seq" INTEGER NOT NULL, "count" INTEGER NOT NULL, "kinds" INTEGER NOT NULL,
    "from_tick" INTEGER NOT NULL, "to_tick" INTEGER NOT NULL
) STRICT;
CREATE TABLE supply_state (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "state" INTEGER NOT NULL,
    "previous" INTEGER NOT NULL, "evidence" INTEGER NOT NULL, "residual" INTEGER, "slope" INTEGER,
    "slip" INTEGER
) STRICT;
"""

# A sink sends live records ahead of a long backlog; what was pruned is known.
_SINKS = """
ALTER TABLE sink ADD COLUMN live_from INTEGER NOT NULL DEFAULT 0;
ALTER TABLE sink ADD COLUMN live_seq INTEGER NOT NULL DEFAULT 0;
ALTER TABLE sink ADD COLUMN rejected INTEGER NOT NULL DEFAULT 0;
CREATE TABLE pruned (
    boot INTEGER PRIMARY KEY REFERENCES boot (id), seq INTEGER NOT NULL, utc INTEGER NOT NULL
) STRICT;
"""

# What the converter gave beside what it meant, and who vouches for each channel's gain and offset.
_RAW = """
CREATE TABLE raw (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "seconds" INTEGER NOT NULL, "codes" BLOB NOT NULL
) STRICT;
CREATE TABLE calibration (
    id INTEGER PRIMARY KEY, tick INTEGER NOT NULL, "channel" INTEGER NOT NULL, "in_force" INTEGER NOT NULL,
    "gain" INTEGER NOT NULL, "offset" INTEGER NOT NULL, "day" INTEGER NOT NULL, "points" INTEGER NOT NULL,
    "gain_u" INTEGER NOT NULL, "offset_u" INTEGER NOT NULL, "reference" TEXT NOT NULL
) STRICT;
"""

MIGRATIONS: tuple[tuple[str, str], ...] = (
    ("first", _FIRST),
    ("sinks and pruning", _SINKS),
    ("raw codes and calibrations", _RAW),
)


def version(connection: sqlite3.Connection) -> int:
    """Return how many migrations this store has seen."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def check_kind(connection: sqlite3.Connection, path: str) -> None:
    """Raise UserError when the file is another program's database or a newer store."""
    try:
        application = int(connection.execute("PRAGMA application_id").fetchone()[0])
        tables = int(connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0])
    except sqlite3.DatabaseError as error:
        raise UserError(f"{path} is not a readable store ({error}); restore it from a backup.") from error
    if application != APPLICATION_ID and tables:
        raise UserError(f"{path} is a database of another program; name another file with --store.")
    if version(connection) > len(MIGRATIONS):
        raise UserError(
            f"{path} was written by a newer version (store version {version(connection)}, this program "
            f"knows {len(MIGRATIONS)}); update this program."
        )


def migrate(connection: sqlite3.Connection, utc_ms: int) -> list[str]:
    """Bring a store to the newest shape, one transaction a migration; return the names applied."""
    applied = []
    for number in range(version(connection), len(MIGRATIONS)):
        name, sql = MIGRATIONS[number]
        statements = [part for part in sql.split(";\n") if part.strip()]
        connection.execute("BEGIN IMMEDIATE")
        try:
            for statement in statements:
                connection.execute(statement)
            connection.execute("INSERT INTO migration VALUES (?, ?, ?)", (number + 1, name, utc_ms))
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {number + 1}")
            connection.execute("COMMIT")
        except BaseException:
            connection.execute("ROLLBACK")
            raise
        applied.append(name)
    return applied
