"""Judge whose breath it was: the ventilator's, a hand's, the patient's, or undetermined.

Rules are the house's own (common practice, no source); their error on invented patients is tested. A machine
repeats length and height; a hand doesn't; a draw-over patient pulls below the resting level.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from firmware_sim.contract.channels import BREATH_KINDS
from ingest.analysis.breathing.model import BreathTable, Floats, rolling_spread

VENTILATOR: Final = BREATH_KINDS.index("ventilator")
HAND: Final = BREATH_KINDS.index("hand")
PATIENT: Final = BREATH_KINDS.index("patient")
UNDETERMINED: Final = BREATH_KINDS.index("undetermined")

WINDOW_BREATHS: Final = 9
BREATHS_MIN: Final = 4  # fewer breaths have no spread to judge by
STEADY: Final = 0.06  # relative robust spread of inspiratory time and peak under which a machine is likely
RESTLESS: Final = 0.10  # above which a hand is likely; between them undetermined
PUSH_MIN_CMH2O: Final = 1.0
PULL_MIN_CMH2O: Final = 0.3
PULL_RATIO: Final = 2.0  # a pull below rest at least this much larger than the push above it


@dataclass(frozen=True, slots=True, kw_only=True)
class BreathKinds:
    """Hold one judgement a breath with its evidence: kind (index into BREATH_KINDS), confidence 0–1,
    pull below and push above the resting level (cmH2O), relative spread of Ti and peak over the window."""

    kind: NDArray[np.int8]
    confidence: Floats
    pull_cmh2o: Floats
    push_cmh2o: Floats
    spread: Floats

    def names(self) -> list[str]:
        """Return the kinds as words of the contract."""
        return [BREATH_KINDS[code] for code in self.kind]


def judge_kinds(table: BreathTable) -> BreathKinds:
    """Judge every breath of a table by pull, push and steadiness over the nine breaths round it.

    Confidence grows with the distance from the bounds: 0.5 at a bound, 1 at twice the distance. Pressure
    alone can't tell a very steady hand from a machine, nor one that the patient triggers at an even rate.
    """
    push = table.peak - table.end_expiratory
    pull = table.end_expiratory - table.minimum
    spread = np.maximum(
        rolling_spread(table.ti_s, WINDOW_BREATHS), rolling_spread(push, WINDOW_BREATHS)
    )
    enough = len(table) >= BREATHS_MIN
    patient = (pull >= PULL_MIN_CMH2O) & (pull >= PULL_RATIO * push)
    pushed = ~patient & (push >= PUSH_MIN_CMH2O) & enough
    kind = np.full(len(table), UNDETERMINED, dtype=np.int8)
    kind[patient] = PATIENT
    kind[pushed & (spread <= STEADY)] = VENTILATOR
    kind[pushed & (spread >= RESTLESS)] = HAND
    confidence = np.select(
        [kind == PATIENT, kind == VENTILATOR, kind == HAND],
        [
            0.5 * pull / np.maximum(PULL_RATIO * push, PULL_MIN_CMH2O),
            1.0 - 0.5 * spread / STEADY,
            0.5 * spread / RESTLESS,
        ],
        default=0.0,
    )
    return BreathKinds(
        kind=kind, confidence=np.clip(confidence, 0.0, 1.0), pull_cmh2o=pull, push_cmh2o=push, spread=spread
    )
