"""Which part of the module's self-test failed stands beside the cause."""

import numpy as np
import pytest

from firmware_sim.contract import log_codes
from firmware_sim.contract.messages import LOG
from ingest.analysis.evidence import EVIDENCE, Look
from ingest.analysis.evidence_words import WORDS

NOW = 1_772_308_800_000


class Log(dict):
    """Records of the log as a reader gives them."""

    def __init__(self, rows):
        numbers = np.array(rows or [(0, 0, 0, 0)]).T[1:]
        super().__init__(zip(("code", "first", "second"), numbers, strict=True))
        self.t = np.array([row[0] for row in rows])

    def __len__(self):
        return len(self.t)


class Store:
    def __init__(self, rows):
        self.rows = rows

    def records(self, kind, module, start, end):
        assert kind == LOG and end - start > 23 * 3_600_000
        return Log(self.rows)


@pytest.mark.parametrize(("bits", "key"), [
    (0, "passed"), *((bit, name) for bit, name, _ in log_codes.SELF_TEST_PARTS), (1 | 32, "program")])
def test_the_last_test_counts(bits, key):
    rows = [(NOW - 9000, log_codes.SELF_TEST, 0, 8), (NOW - 5000, log_codes.SELF_TEST, not bits, bits),
            (NOW - 1000, log_codes.BUTTON, 0, 1)]
    seen = EVIDENCE["self_test"](Look(Store(rows), 1, NOW))
    assert seen.key == f"evidence.self_test_{key}" and seen.key in WORDS
    assert seen.params == {"tested_at": NOW - 5000}


@pytest.mark.parametrize("rows", [[], [(NOW - 1000, log_codes.BUTTON, 0, 1)]])
def test_no_test_is_said(rows):
    assert EVIDENCE["self_test"](Look(Store(rows), 1, NOW)).key == "evidence.self_test_none"
