"""Recordings for rehearsals made of a value's course, without a store: encoded as the module encodes them."""

from array import array

from firmware_sim.contract import inputs, settings, values
from firmware_sim.kernels.inputs import inputs_put
from ingest.analysis.rehearsal.recording import Recording, Stretch
from tests.support.alarm_bench import INDEX, quiet


def recording(name, course, acts=(), first_step=0):
    """Return a boot in which the input `name` takes the values of `course`, one a step, all else calm."""
    seen = array("i", [0] * values.COUNT)
    inputs.start(seen)
    out = array("h", [0] * (inputs.STEP_MAX * len(course)))
    now, at = quiet(), 0
    for value in course:
        now[INDEX[name]] = value
        at = inputs_put(seen, now, inputs.GROWTH, out, at)
    stretch = Stretch(first_step=first_step, steps=len(course), codes=bytes(out[:at].tolist()))
    return Recording(
        boot=1, utc0_ms=0, rate_ppb=0, end_step=first_step + len(course), settings=tuple(settings.defaults()),
        stretches=(stretch,), acts=tuple(acts), restored=(), recorded=(),
    )  # fmt: skip
