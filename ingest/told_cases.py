"""Write down the cases of an invented night as its people would have, after it was played."""

from collections.abc import Sequence
from pathlib import Path

from ingest.analysis.cases import ENDED, KIND, OPEN
from ingest.store.annotations import open_annotations
from ingest.store.reader import open_reader, tables

AUTHOR = "invented"
# Mode and preset follow within so many ms of 'a new patient'.
SET_UP_MS = 60_000


def write_told_cases(store: Path, told: Sequence[tuple[int, str, str]], now: int) -> int:
    """Write a mark for each case of `told`: (UTC ms, 'start_case' or 'end_case', label); return how many.

    Mode and preset are those in force a minute later. A start ends the case before it.
    """
    with open_reader(store) as reader:
        found = reader.modules()
        span = reader.span(found[0].id) if found else None
        if span is None:
            return 0
        module, played = found[0].id, [one for one in sorted(told) if one[0] < span[1]]
        starts = [one for one in played if one[1] == "start_case"]
        data = [_in_force(reader.settings_at(module, at + SET_UP_MS)) for at, _, _ in starts]
    with open_annotations(store, now) as notes:
        for number, ((at, _, label), (mode, preset)) in enumerate(zip(starts, data, strict=True), 1):
            end = next((other for other, _, _ in played if other > at), None)
            state = {"number": number, "mode": mode, "preset": preset, "state": ENDED if end else OPEN}
            notes.add(
                module=module, utc=at, utc_end=end, kind=KIND, author=AUTHOR, text=label, data=state, now=now
            )
    return len(starts)


def _in_force(found: object) -> tuple[str, str]:
    values = getattr(found, "values", None)
    if values is None:
        return tables.MODES[1], tables.PRESETS[0]
    mode, preset = (values[tables.SETTINGS[f"module.{name}"].id] for name in ("mode", "preset"))
    return tables.MODES[mode], tables.PRESETS[preset]
