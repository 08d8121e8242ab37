"""Generated tables of the near side: the dictionary of the store, and what each answer of a server means."""

from collections.abc import Callable

from ingest.sinks.outcomes import OUTCOMES
from ingest.store.dictionary import tables
from ingest.store.migrations import MIGRATIONS
from ingest.store.schema import STORED

# What the tables hold that no message of the contract describes.
TABLES = {
    "migration": "which migrations this file has seen",
    "module": "each module ever met; `emulated` data is SIMULATED wherever it is shown",
    "boot": "each run of a module between two power-ups, how far it is committed, and its clock now",
    "clock": "how ticks were labelled, as known when records were committed",
    "session": "each opening of a link, with what it counted and dropped, by reason",
    "run": "stretches of ticks with a trend each second",
    "gap": "records that will never come, and why",
    "band": "the codes of the trends, a row at each change",
    "host_command": "each command to a module: who, why, when, and its answer",
    "mark": "people's marks; a change is a new version",
    "sink": "how far each sink has got",
    "pruned": "up to where old samples were removed",
    "rollup_minute": "minimum, maximum, sum and count of each quantity a minute of module time",
    "rollup_hour": "the same an hour",
    "rollup_day": "the same a day",
}


def write_store() -> str:
    """Write every table of the newest shape with its columns, units and scales."""
    fields = {
        row[1]: {field[0]: field for field in (*row[4], *([row[5]] if row[5] else []))} for row in STORED
    }
    lines = ["| table | holds | columns |", "| --- | --- | --- |"]
    for name, columns in tables().items():
        if name.startswith("rollup_"):
            columns = [*columns[:6], "… and so on for each quantity"]
        described = ", ".join(_column(column, fields.get(name, {}).get(column)) for column in columns)
        lines.append(f"| `{name}` | {TABLES.get(name) or 'the message of that name'} | {described} |")
    return "\n".join(lines)


def _column(name: str, field: tuple[str, str, str, int] | None) -> str:
    if field is None or (not field[2] and field[3] == 1):
        return name
    unit = field[2] if field[3] == 1 else f"{field[2]}/{field[3]}".lstrip("/")
    return f"{name} [{unit}]"


def write_outcomes() -> str:
    """Write what the forwarder does on each status of a server."""
    lines = ["| status | outcome | because |", "| --- | --- | --- |"]
    lines += [f"| {status} | {what} | {why} |" for status, (what, why) in OUTCOMES.items()]
    return "\n".join([*lines, "| none, others | retry | the server doesn't answer, or not as expected |"])


def write_migrations() -> str:
    """Write the names of the store's migrations."""
    return "\n".join(f"{number}. {name}" for number, (name, _) in enumerate(MIGRATIONS, 1))


BLOCKS: dict[str, Callable[[], str]] = {
    "store-dictionary": write_store,
    "forward-outcomes": write_outcomes,
    "store-migrations": write_migrations,
}
