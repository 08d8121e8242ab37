"""Generated tables of the near side: the dictionary of the store, and what each answer of a server means."""

import json
import math
from collections.abc import Callable
from pathlib import Path

from firmware_sim.contract import channels
from ingest.analysis import calibration
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


# Measured by `ingest.analysis.supply.accuracy.achieved`; a soak test measures anew and compares.
ACHIEVED = Path(__file__).parent / "analysis" / "supply" / "achieved.json"


def write_uncertainty() -> str:
    """Write what the analysis achieved against the targets of class S."""
    lines = ["| quantity | over | cases | greatest error | target |", "| --- | --- | --- | --- | --- |"]
    for row in json.loads(ACHIEVED.read_text()):
        error = f"{row['greatest']:.3f} {row['unit']}"
        target = f"{row['target']:g} {row['unit']}"
        lines.append(f"| {row['quantity']} | {row['sweep']} | {row['cases']} | {error} | {target} |")
    return "\n".join(lines)


# Counted by `ingest.analysis.supply.disturbance_models.confusion` on REPORT_SEEDS; a soak test counts anew.
CONFUSION = Path(__file__).parent / "analysis" / "supply" / "confusion.json"


def write_disturbances() -> str:
    """Write the rule of each disturbance, and the part of each true class that got its name, by noise."""
    from ingest.analysis.supply.disturbances import LABELS, RULES

    rules = {name: " ".join((rule.__doc__ or "").split("\n\n")[0].split()) for name, rule in RULES}
    counts = json.loads(CONFUSION.read_text())
    heads = ["class, in order of precedence", "rule", *(f"right at {decibel} dB, %" for decibel in counts)]
    lines = ["| " + " | ".join(heads) + " |", "|" + " --- |" * len(heads)]
    for number, name in [*enumerate(LABELS)][1:] + [(0, LABELS[0])]:
        right = [f"{100 * rows[number][number] / sum(rows[number]):.0f}" for rows in counts.values()]
        lines.append("| " + " | ".join([name, rules.get(name, "No rule holds."), *right]) + " |")
    return "\n".join(lines)


def write_confusion() -> str:
    """Write the whole matrices: a row a true class, a column the name it got, in per cent."""
    from ingest.analysis.supply.disturbances import LABELS

    lines = []
    for decibel, rows in json.loads(CONFUSION.read_text()).items():
        lines += [f"Noise of {decibel} dB:", "", "| true \\ named | " + " | ".join(LABELS) + " |"]
        lines.append("|" + " --- |" * (len(LABELS) + 1))
        for name, row in zip(LABELS, rows, strict=True):
            shares = [f"{100 * count / sum(row):.0f}" if count else "" for count in row]
            lines.append(f"| {name} | " + " | ".join(shares) + " |")
        lines.append("")
    return "\n".join(lines[:-1])


def write_limits() -> str:
    """Write the limits, edges and curves that the study judges by."""
    from ingest.analysis.supply import classify

    lines = ["| what | rule | source |", "| --- | --- | --- |"]
    for band in (
        *classify.VOLTAGE_BANDS, *classify.FREQUENCY_BANDS, *classify.ISLAND_FREQUENCY_BANDS,
    ):  # fmt: skip
        rule = f"{100 * band.low:g} to {100 * band.high:g} % for {100 * band.part:g} % of {band.days:g} days"
        lines.append(f"| {band.name} | {rule} | EN 50160 |")
    orders = ", ".join(f"{n}: {limit:g}" for n, limit in classify.HARMONIC_LIMITS_PERCENT.items())
    total = f"{classify.THD_LIMIT_PERCENT:g} % in all"
    dips = ", ".join(f"{name} {100 * low:g}–{100 * high:g} %" for name, low, high in classify.DIP_ROWS)
    swells = ", ".join(f"{name} from {100 * low:g} %" for name, low in classify.SWELL_ROWS)
    lines += [
        f"| harmonics, 95 % of a week, % | {orders}; {total} | EN 50160, quoted |",
        f"| rows of dips | {dips}; columns end at {_ends(classify.DIP_COLUMNS_S)} | EN 50160, quoted |",
        f"| rows of swells | {swells}; columns end at {_ends(classify.SWELL_COLUMNS_S)} | EN 50160, quoted |",
        f"| short interruption | up to {classify.SHORT_INTERRUPTION_S:g} s | EN 50160 |",
        f"| ITIC, lower limit | {_steps(classify.ITIC_LOWER)} | ITIC 2000, pairing from memory |",
        f"| ITIC, upper limit above 3 ms | {_steps(classify.ITIC_UPPER)} | ITIC 2000, pairing from memory |",
        f"| SEMI F47 from 20 ms | {_steps(classify.SEMI_F47)} | from memory |",
    ]
    return "\n".join(lines)


def _ends(ends_s: tuple[float, ...]) -> str:
    return ", ".join(f"{end:g}" for end in ends_s) + " s"


def _steps(steps: tuple[tuple[float, float], ...]) -> str:
    ends = [(f"to {end:g} s" if math.isfinite(end) else "beyond", level) for end, level in steps]
    return ", ".join(f"{end} {100 * level:g} %" for end, level in ends)


def write_breathing_errors() -> str:
    """Write the measured errors of what is read from pressure; the data name the command that made them."""
    path = Path(__file__).parents[1] / "hardware_notes" / "breathing_errors.json"
    data = json.loads(path.read_text("utf-8"))
    rows = []
    for name, one in data["sources"].items():
        errors = [f"{half:g} / {most:g}" for half, most in one["errors"].values()]
        found = one["breaths"]
        wrong = f"{100 * one['misjudged'] / found:.1f} / {100 * one['undetermined'] / found:.1f}"
        seen = [
            " / ".join(f"{100 * one[who + what] / one[who + 'true']:.2f}" for what in ("missed", "extra"))
            for who in ("module_", "")
        ]
        rows.append((name, one["true"], *seen, *errors, wrong))
    heads = (
        "patient, whose breaths", "true breaths", "module: missed / invented, %",
        "reference: missed / invented, %", "peak, cmH2O", "end-expiratory, cmH2O",
        "mean, cmH2O", "period, s", "misjudged / undetermined, %",
    )  # fmt: skip
    lead = (
        f"{data['patients']} patients a row, {data['seconds']} s each, seed {data['seed']}, measured by "
        f"`{data['command']}`. Errors are absolute: half of the breaths are nearer than the first figure, "
        "99 % than the second. The module is judged from its 20th second on: it learns from the first "
        "breaths, and places some of those wrong."
    )
    lines = ["| " + " | ".join(str(cell) for cell in row) + " |" for row in (heads, *rows)]
    return "\n".join([lead, "", lines[0], "|" + " --- |" * len(heads), *lines[1:]])


def write_calibration() -> str:
    """Write of each channel what a calibration reckons with."""
    lines = ["| channel | range | one code is | points at least apart |", "| --- | --- | --- | --- |"]
    for row in channels.CHANNELS:
        one = calibration.channel(row[1])
        high = one.span if one.is_ac else one.high
        kind = " rms" if one.is_ac else ""
        low = 0.0 if one.is_ac else one.low
        lines.append(
            f"| `{one.name}` | {low:g} to {high:.4g} {one.unit}{kind} | {1 / one.per_unit:.3g} {one.unit} "
            f"| {calibration.SPAN_MIN * one.span:.3g} {one.unit} |"
        )
    return "\n".join(lines)


BLOCKS: dict[str, Callable[[], str]] = {
    "calibration-channels": write_calibration,
    "store-dictionary": write_store,
    "forward-outcomes": write_outcomes,
    "store-migrations": write_migrations,
    "breathing-errors": write_breathing_errors,
    "supply-uncertainty": write_uncertainty,
    "power-quality-limits": write_limits,
    "disturbance-rules": write_disturbances,
    "disturbance-confusion": write_confusion,
}
