"""The delta code of the engine's inputs gives back every step exactly."""

from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_sim.contract import NONE, inputs, values
from firmware_sim.kernels import steps
from firmware_sim.kernels.inputs import inputs_put

STEP = st.dictionaries(
    st.integers(0, values.COUNT - 1),
    st.one_of(st.just(NONE), st.integers(-(2**29) + 1, 2**29 - 1)),
    max_size=6,
)


def put_step(sender, now):
    room = array("h", [0] * inputs.STEP_MAX)
    return bytes(list(room[: inputs_put(sender, now, inputs.GROWTH, room, 0)]))


@given(st.lists(STEP, max_size=30))
def test_what_goes_in_comes_out(steps):
    now, sender, receiver = ([0] * values.COUNT for _ in range(3))
    for state in (now, sender, receiver):
        inputs.start(state)
    data = bytearray()
    history = []
    for changes in steps:
        for index, value in changes.items():
            now[index] = value
        history.append(list(now))
        data += put_step(sender, now)
    at = 0
    for expected in history:
        at = inputs.take_step(data, at, receiver)
        assert receiver == expected
    assert at == len(data)


def test_a_quiet_step_costs_one_byte_even_while_ages_grow():
    now, sender = [NONE] * values.COUNT, [NONE] * values.COUNT
    now[values.CYCLE_AGE] = 10
    put_step(sender, now)
    now[values.CYCLE_AGE] = 11
    assert put_step(sender, now) == b"\0"


@pytest.mark.parametrize("data", [b"", b"\x01", b"\x01\x7f\x00", b"\x01\x00\x80"])
def test_cut_or_foreign_bytes_are_refused(data):
    with pytest.raises(ValueError, match="cut short"):
        inputs.take_step(data, 0, [NONE] * values.COUNT)


def test_the_kernel_of_a_step_finds_its_inputs_in_the_order_that_it_writes_them():
    run = array("i", [0] * steps.RUN_WORDS)
    inputs.place(run)
    names = [row[1] for row in values.VALUES]
    at = run[steps.PRESSURE_AT]
    assert names[at : at + 7] == ["pressure_max", "pressure_min", "cycle_age", "breath_age", "peak",
                                  "end_expiratory", "rate"]  # fmt: skip
    at = run[steps.SUPPLY_AT]
    assert names[at : at + 4] == ["supply_in_low", "supply_in_high", "supply_out_low", "supply_out_high"]
    others = [names[run[word]] for word in (steps.UNDETERMINED_AT, steps.LINK_AT, steps.OXYGEN_AT)]
    assert others == ["undetermined_age", "link_age", "oxygen"]


def test_table_ids_are_their_positions():
    assert [row[0] for row in values.VALUES] == list(range(values.COUNT))
    assert values.COUNT <= 127
