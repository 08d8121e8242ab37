"""The first sentence of Now never claims more unrecorded time than the time it looks back over."""

import pytest

from dashboard.queries import now_frame
from ingest.store.reader import open_reader

HOUR_MS = 3_600_000


@pytest.mark.parametrize("later_h", [1, 12, 3000])
def test_unrecorded_time_stays_inside_the_window(store, later_h):
    with open_reader(store) as reader:
        module = reader.modules()[0]
        _, end = reader.span(module.id)
        frame = now_frame(reader, module, end + later_h * HOUR_MS, back_ms=12 * HOUR_MS)
    assert (later_h <= 12 and frame.dark_ms >= later_h * HOUR_MS) or frame.dark_ms == 12 * HOUR_MS
    assert frame.dark_ms <= 12 * HOUR_MS
