"""Generated tables of the hardware notes."""

from collections.abc import Callable

from firmware_sim.docs import table
from firmware_sim.hardware import chains, diagram, errors, fit, module_power, parts

Rows = Callable[[], list[tuple[str, str]]]


def steps(rows: Rows) -> Callable[[], str]:
    """Return a writer of a table of two columns."""
    return lambda: table(("step", "number"), rows())


def write_claims() -> str:
    """Write what is claimed of each channel, and what it is before a calibration."""
    rows: list[tuple[object, ...]] = []
    for budget in errors.BUDGETS:
        unit = errors.row_of(budget.channel)[2]
        claim = errors.claimed(budget, budget.typical)
        rows.append(
            (
                f"`{budget.channel}`",
                f"±({budget.claim_units:g} {unit} + {budget.claim_percent:g} % of reading)",
                f"±{claim:.3g} at {budget.typical:g} {unit}",
                f"±{errors.worst(budget, budget.typical):.3g}",
                f"{budget.as_built_percent:g} %, {budget.as_built_codes:g} codes",
                budget.remark,
            )
        )
    return table(
        (
            "channel",
            "claim after calibration, about 95 %",
            "which is",
            "all limits at once",
            "before calibration",
            "beside it",
        ),
        rows,
    )


def write_budgets() -> str:
    """Write every channel's contributions and their sum."""
    out = []
    for budget in errors.BUDGETS:
        unit = errors.row_of(budget.channel)[2]
        rows: list[tuple[object, ...]] = []
        for part in budget.parts:
            size, standard = f"{part.size:.3g}", f"{part.standard:.3g}"
            cells = (size, standard, "", "") if part.kind == errors.PERCENT else ("", "", size, standard)
            rows.append((part.what, part.shape, *cells))
        units, percent = errors.expanded(budget)
        rows.append(("twice the root of the squares", "", "", f"{percent:.3g}", "", f"{units:.3g}"))
        rows.append(("**claim**", "", "", f"**{budget.claim_percent:g}**", "", f"**{budget.claim_units:g}**"))
        heads = ("contribution", "given as", "% of reading", "standard", f"{unit}", "standard")
        out.append(f"**{budget.channel}**\n\n{table(heads, rows)}")
    return "\n\n".join(out)


def write_parts() -> str:
    """Write the bill of materials."""
    return table(("block", "part", "must have", "count"), parts.PARTS)


def write_emc() -> str:
    """Write the tests to plan."""
    return table(("test", "level", "here", "level from"), parts.EMC)


def write_bring_up() -> str:
    """Write the readings to expect."""
    heads = ("put on", "channel", "code", "reading", "off at most, before calibration", "after it")
    return table(heads, parts.bring_up_rows())


def write_timing() -> str:
    """Write what a second of firmware takes."""
    heads = ("in one second", "million instructions here", "native code", *(chip.name for chip in fit.CHIPS))
    return table(heads, fit.timing_rows())


def write_moments() -> str:
    """Write how long the longest moments take."""
    heads = ("what", "million instructions here", "native code", *(chip.name for chip in fit.CHIPS))
    return table(heads, fit.moment_rows())


def write_cycles() -> str:
    """Write how many cycles of a board one instruction counted here is taken for."""
    rows = [(chip.name, f"{chip.cycles[0]:.2f} to {chip.cycles[1]:.2f}") for chip in fit.CHIPS]
    return table(("class", "cycles for one instruction counted here"), rows)


def write_ways() -> str:
    """Write the ways to make it fit."""
    return table(("way", "million instructions", *(chip.name for chip in fit.CHIPS)), fit.way_rows())


def write_memory() -> str:
    """Write what memory holds."""
    return table(("kB", "64-bit interpreter", "32-bit interpreter"), fit.memory_rows())


def write_fit() -> str:
    """Write which memory is enough."""
    return table(("memory of the board", "files copied", "frozen", "frozen, ring of 16 kB"), fit.fit_rows())


BLOCKS: dict[str, Callable[[], str]] = {
    "chain-divider": steps(chains.divider_rows),
    "chain-transformer": steps(chains.transformer_rows),
    "chain-filter": steps(chains.filter_rows),
    "chain-pressure": steps(chains.pressure_rows),
    "chain-oxygen": steps(chains.oxygen_rows),
    "chain-ultrasonic": steps(chains.ultrasonic_rows),
    "tee": steps(chains.tee_rows),
    "error-claims": write_claims,
    "error-budgets": write_budgets,
    "module-loads": lambda: table(("what draws", "mA at the cell"), module_power.load_rows()),
    "module-cell": steps(module_power.cell_rows),
    "module-buzzer": steps(module_power.buzzer_rows),
    "parts": write_parts,
    "emc": write_emc,
    "bring-up": write_bring_up,
    "timing": write_timing,
    "timing-moments": write_moments,
    "timing-cycles": write_cycles,
    "timing-ways": write_ways,
    "memory": write_memory,
    "memory-fit": write_fit,
}
FILES: dict[str, Callable[[], str]] = {"hardware_notes/block_diagram.svg": diagram.write}
