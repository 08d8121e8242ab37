"""Run recorded nights again through the module's own alarm engine, with other settings.

Pure: what was recorded comes in as `Recording`s (the reader makes them), the kernels are handed in, plain or
compiled. Nothing here can send a setting to a module.
"""

from ingest.analysis.rehearsal.compare import Comparison, compare
from ingest.analysis.rehearsal.judge import Judged, TrueEvent, Verdict, judge
from ingest.analysis.rehearsal.outcome import Outcome, outcome_of
from ingest.analysis.rehearsal.overlay import Overlay, overlay_of, sweep_of
from ingest.analysis.rehearsal.recording import Act, Recording, Stretch, Transition
from ingest.analysis.rehearsal.replay import Replay, Tape, load_tape, replay
from ingest.analysis.rehearsal.stage import EVENT, Material, Rehearsed, Stage, event_of

__all__ = [
    "EVENT",
    "Act",
    "Comparison",
    "Judged",
    "Material",
    "Outcome",
    "Overlay",
    "Recording",
    "Rehearsed",
    "Replay",
    "Stage",
    "Stretch",
    "Tape",
    "Transition",
    "TrueEvent",
    "Verdict",
    "compare",
    "event_of",
    "judge",
    "load_tape",
    "outcome_of",
    "overlay_of",
    "replay",
    "sweep_of",
]
