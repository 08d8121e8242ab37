"""Does the firmware fit a board: time and memory estimated from what was counted on this machine.

Counts: `hardware_notes/board_counts.json`, whose fields `command` say how they are made anew.

From instructions of this machine to cycles of a board: MicroPython's own benchmarks give the bridge. On a
Cortex-M4 of 168 MHz `perf_bench/misc_aes` (integers in place, as our kernels) takes 95.26 ms and
`misc_pystone` reaches 1847.56 loops/s (published: MicroPython pull request 4858); counted here under
callgrind they are 8.068 million and 41,061 instructions. So one of our instructions is 1.98 or 2.21 cycles
there. Other classes by a published comparison of one program: 13.0 s on that board, 19.8 s on a Cortex-M0+
of 125 MHz, 8.9 s on a 240 MHz class board (a hobbyist's table; its program is mostly floating point).
"""

import json
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

FOUND = Path(__file__).resolve().parents[2] / "hardware_notes" / "board_counts.json"

M4_HZ = 168e6
CYCLES_M4 = (M4_HZ * 0.09526 / 8_067_683, M4_HZ / 1847.56 / 41_061)
# Seconds that one program took: on that board, and on the two classes, with their clocks.
M4_S = 13.0
RAMS = (
    (264, "264 kB, 190 kB of it heap"),
    (512, "512 kB, 420 kB of it heap"),
    (8192, "8 MB beside the chip's own"),
)
# What an interpreter leaves for its heap (common practice for such ports).
HEAP_KB = {264: 190, 512: 420, 8192: 8000}


class Chip(NamedTuple):
    """A class of board: clock, and that of the published comparison with its seconds."""

    name: str
    hertz: float
    compared_hertz: float
    compared_s: float

    @property
    def cycles(self) -> tuple[float, float]:
        """Cycles of this class for one instruction counted here: lower and upper estimate.

        The upper one adds a third for what the comparison can't know: flash cache, other programs.
        """
        slower = self.compared_hertz * self.compared_s / (M4_HZ * M4_S)
        return CYCLES_M4[0] * slower, CYCLES_M4[1] * slower * 4 / 3


CHIPS = (
    Chip("Cortex-M0+, 133 MHz", 133e6, 125e6, 19.8),
    Chip("240 MHz class", 240e6, 240e6, 8.9),
)
LABELS = (
    ("sampling", "timer's callback, 3,200 a second"),
    ("taps", "rms, crossings and events of both taps"),
    ("breathing", "breaths"),
    ("alarms", "alarm system, nothing standing"),
    ("rest", "inputs, supply state, records, ring, frames, link"),
)
# Above this share a board has no room for a bad second.
SHARE_MAX = 0.7


@cache
def counts() -> dict[str, Any]:
    """Return what was counted."""
    found: dict[str, Any] = json.loads(FOUND.read_text("utf-8"))
    return found


def parts(emitter: str) -> dict[str, int]:
    """Return instructions a simulated second of each part of a table row.

    'rest' is what the firmware does beside measuring taps and breaths, but for the alarms.
    """
    found = dict(counts()["instructions_a_second"][emitter])
    found["rest"] = found["beside"] - found["alarms"]
    return found


def total(found: dict[str, int]) -> int:
    """Return the instructions of a second, samples and all."""
    return found["sampling"] + found["whole"]


def share(instructions: float, chip: Chip) -> tuple[float, float]:
    """Return which part of a chip's time the instructions of one second take: lower and upper estimate."""
    low, high = chip.cycles
    return instructions * low / chip.hertz, instructions * high / chip.hertz


def percent(shares: tuple[float, float]) -> str:
    """Write a span of shares."""
    return f"{100 * shares[0]:.0f} to {100 * shares[1]:.0f} %"


def verdict(shares: tuple[float, float]) -> str:
    """Say whether a load fits."""
    if shares[1] <= SHARE_MAX:
        return "fits"
    return "does not fit" if shares[0] > 1 else "doubtful: measure on the board"


def timing_rows() -> list[tuple[object, ...]]:
    """Write what each part takes in a simulated second, bytecode and native code, and on each class."""
    plain, native = parts("bytecode"), parts("native")
    rows: list[tuple[object, ...]] = []
    for name, label in LABELS:
        rows.append(
            (
                label,
                f"{plain[name] / 1e6:.1f}",
                f"{native[name] / 1e6:.1f}",
                *(percent(share(plain[name], chip)) for chip in CHIPS),
            )
        )
    rows.append(
        (
            "**together**",
            f"**{total(plain) / 1e6:.1f}**",
            f"**{total(native) / 1e6:.1f}**",
            *(f"**{percent(share(total(plain), chip))}**" for chip in CHIPS),
        )
    )
    return rows


def milliseconds(instructions: float, chip: Chip) -> str:
    """Write how long some instructions take on a class, lower to upper estimate."""
    low, high = share(instructions, chip)
    return f"{1000 * low:,.0f} to {1000 * high:,.0f} ms"


def moment_rows() -> list[tuple[object, ...]]:
    """Write how long a mean step, the one that ends a second, and a power-up take."""
    plain, native = parts("bytecode"), parts("native")
    rows: list[tuple[object, ...]] = []
    for what, name, part in (
        ("a step, mean", "whole", 10),
        ("the step that ends a second", "second_step", 1),
        ("power-up, from the files loaded to the first step", "power_up", 1),
    ):
        counts_here = (plain[name] / part, native[name] / part)
        cells = (f"{count / 1e6:.1f}" for count in counts_here)
        rows.append((what, *cells, *(milliseconds(counts_here[0], chip) for chip in CHIPS)))
    return rows


def ways() -> list[tuple[str, float]]:
    """Return ways to lighten the load, with the instructions of a second that are left."""
    plain, native = parts("bytecode"), parts("native")
    second = plain["taps"] - plain["one_tap"]
    kernels = ("taps", "breathing", "sampling")
    mixed = total(plain) - sum(plain[name] - native[name] for name in kernels)
    return [
        ("as it is: bytecode, both taps at 3,200 samples/s", total(plain)),
        ("second tap at 1,600 samples/s", total(plain) - second / 2 - plain["sampling"] / 4),
        ("second tap at 800 samples/s", total(plain) - second * 3 / 4 - plain["sampling"] * 3 / 8),
        ("kernels and timer compiled to native code", mixed),
        (
            "that, and the second tap at 800 samples/s",
            mixed - (native["taps"] - native["one_tap"]) * 3 / 4 - native["sampling"] * 3 / 8,
        ),
        (
            "samples fetched by the converter's own buffer, both taps, native kernels",
            mixed - native["sampling"],
        ),
        (
            "kernels in C from the contract, samples by the converter's own buffer: the rest in bytecode",
            plain["beside"],
        ),
    ]


def way_rows() -> list[tuple[object, ...]]:
    """Write the ways with the load on each class."""
    rows: list[tuple[object, ...]] = []
    for what, left in ways():
        cells = []
        for chip in CHIPS:
            shares = share(left, chip)
            cells.append(f"{percent(shares)}: {verdict(shares)}")
        rows.append((what, f"{left / 1e6:.1f}", *cells))
    return rows


def memory_rows() -> list[tuple[object, ...]]:
    """Write what is held after each stage, for both word sizes."""
    found = counts()["memory"]
    ring = found["ring_bytes"]
    wide, board = found["word_64"], found["word_32"]

    def row(what: str, stage: str, before: str, less: int = 0) -> tuple[object, ...]:
        return (what, *(f"{(held[stage] - held[before] - less) / 1024:.1f}" for held in (wide, board)))

    return [
        row("contract, kernels, core: their compiled files loaded", "core", "empty"),
        row("port: two blocks of samples, edges, flash pages", "port", "core"),
        row("state of the firmware", "app", "port", ring),
        ("ring for what the host has not acknowledged", *2 * (f"{ring / 1024:.1f}",)),
        row("more after a minute of running", "minute", "app"),
        ("**held**", *(f"**{(held['minute'] - held['empty']) / 1024:.1f}**" for held in (wide, board))),
        (
            "of that, bytecode which a frozen image keeps in flash, about",
            "",
            f"{found['compiled_bytes'] / 1024:.0f}",
        ),
    ]


def fit_rows() -> list[tuple[object, ...]]:
    """Write which memory is enough: files copied, or frozen into the interpreter's image."""
    found = counts()["memory"]
    held = (found["word_32"]["minute"] - found["word_32"]["empty"]) / 1024
    frozen, ring = held - found["compiled_bytes"] / 1024, found["ring_bytes"] / 1024
    ways = (("files copied", held), ("frozen", frozen), ("frozen, ring of 16 kB", frozen - ring + 16))
    rows: list[tuple[object, ...]] = []
    for size, label in RAMS:
        cells = [
            f"{100 * need / HEAP_KB[size]:.0f} %: {'fits' if need <= 0.8 * HEAP_KB[size] else 'does not fit'}"
            for _, need in ways
        ]
        rows.append((label, *cells))
    return rows
