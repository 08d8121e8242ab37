"""Play many nights side by side: one file a finished night, so that a kill costs the nights in hand only.

    OUT/plan.json                 what is played; another plan is refused
    OUT/nights/000000017.json     one night, written whole or not at all
    OUT/{nights,alarms,supply_events,rates}.parquet    everything together, in order of seed (SIMULATED)

A night is played by a function that is handed in, since nothing here knows board or physics.
"""

import json
import multiprocessing
import os
import shutil
import signal
import tempfile
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from firmware_sim.contract import alarms, channels, digest
from firmware_sim.kernels.alarms import HIGH, LOW, MEDIUM
from ingest.errors import UserError
from ingest.store.reader import Module, Reader, open_reader

# (scenario, hours, seed, store, profile, start of the night or None, quiet) -> figures of the night.
Play = Callable[[str, float | None, int, str, str, None, bool], dict[str, int | float | str]]
PRIORITIES = {HIGH: "high", MEDIUM: "medium", LOW: "low"}
TAPS = ("in", "out")
# Figures that tell of the machine, not of the night.
OF_THE_MACHINE = ("wall_s", "times_real_time", "store_bytes")


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What a fleet plays: `scenario` by name or file, seeds from `first_seed`; `hours` None: its own."""

    scenario: str
    hours: float | None
    profile: str
    first_seed: int
    nights: int

    def seeds(self) -> range:
        """Return the seed of each night."""
        return range(self.first_seed, self.first_seed + self.nights)


def open_folder(out: Path, plan: Plan) -> list[int]:
    """Make the folder ready or go on with it; return the seeds still to play.

    More nights of the same plan may be asked for later. Raise UserError for a folder of another plan.
    """
    kept = {**asdict(plan), "contract": list(digest.digest()), "origin": "SIMULATED"}
    del kept["nights"]
    if plan.scenario.endswith(".json"):
        kept["text"] = Path(plan.scenario).read_text(encoding="utf-8")
    file = out / "plan.json"
    (out / "nights").mkdir(parents=True, exist_ok=True)
    if file.exists():
        if json.loads(file.read_text(encoding="utf-8")) != kept:
            raise UserError(f"{out} holds nights of another plan; name another folder with --out.")
    else:
        write_whole(file, json.dumps(kept, indent=1))
    for left in out.glob("work-*"):
        shutil.rmtree(left, ignore_errors=True)
    return [seed for seed in plan.seeds() if not night_file(out, seed).exists()]


def night_file(out: Path, seed: int) -> Path:
    """Return where a finished night stands."""
    return out / "nights" / f"{seed:09d}.json"


def write_whole(path: Path, text: str) -> None:
    """Write a file so that a kill leaves it whole or absent."""
    part = path.with_name(path.name + ".part")
    with part.open("w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)


def run(play: Play, plan: Plan, out: Path, jobs: int) -> Iterator[int]:
    """Play what is missing in `jobs` processes; yield each seed as its night is written."""
    todo = open_folder(out, plan)
    # A process of its own from the start: threads of the compiled code don't survive a fork.
    executor = ProcessPoolExecutor(jobs, multiprocessing.get_context("spawn"), begin_worker)
    try:
        waiting = {executor.submit(play_night, play, plan, out, seed): seed for seed in todo}
        for done in as_completed(waiting):
            done.result()
            yield waiting[done]
    except BaseException:
        executor.shutdown(wait=False, cancel_futures=True)
        for child in multiprocessing.active_children():
            child.terminate()
        raise
    executor.shutdown()


def begin_worker() -> None:
    """Leave Ctrl-C to the parent, and end when it ends: a killed fleet leaves nobody at work."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def play_night(play: Play, plan: Plan, out: Path, seed: int) -> None:
    """Play one night into a store that is thrown away, and write what it brought."""
    with tempfile.TemporaryDirectory(prefix="work-", dir=out) as folder:
        store = Path(folder) / "night.db"
        figures = play(plan.scenario, plan.hours, seed, str(store), plan.profile, None, True)
        found = harvest(store, seed, figures)
    write_whole(night_file(out, seed), json.dumps(found))


def harvest(store: Path, seed: int, figures: dict[str, int | float | str]) -> dict[str, Any]:
    """Return what is kept of a night: its figures, its alarms, its supply events; times in s of the night."""
    told = {name: value for name, value in figures.items() if name not in OF_THE_MACHINE}
    with open_reader(store) as reader:
        module = reader.modules()[0]
        start = min(boot.utc0 for boot in reader.boots(module.id))
        end = start + round(float(figures["hours"]) * 3_600_000)
        dark = sum(one.end - one.start for one in reader.unmonitored(module.id, start, end))
        return {
            "night": {"seed": seed, **told, "unmonitored_min": round(dark / 60_000, 3)},
            "alarms": list(_alarms(reader, module, start, end)),
            "supply_events": list(_events(reader, module, start, end)),
        }


def _alarms(reader: Reader, module: Module, start: int, end: int) -> Iterator[dict[str, Any]]:
    for one in reader.alarms(module.id, start, end):
        yield {
            "alarm": alarms.ROWS[one.row].name,
            "priority": PRIORITIES[one.priority],
            "start_s": (one.start - start) / 1000,
            "duration_s": None if one.end is None else (one.end - one.start) / 1000,
            "end_seen": one.end is not None and not one.cut,
        }


def _events(reader: Reader, module: Module, start: int, end: int) -> Iterator[dict[str, Any]]:
    for one in reader.supply_events(module.id, start, end):
        yield {
            "tap": TAPS[one.tap],
            "event": channels.SUPPLY_EVENT_KINDS[one.kind],
            "start_s": (one.start - start) / 1000,
            "duration_s": None if one.duration_ms is None else one.duration_ms / 1000,
            "extreme_v": one.extreme_v,
        }
