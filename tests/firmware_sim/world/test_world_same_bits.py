"""One seed, one night: equal bits for any split of the calls; another seed, another night."""

import hashlib
from dataclasses import fields

import numpy as np
import pytest

from firmware_sim import scenarios
from firmware_sim.world import circuit, noise, samples, waves
from firmware_sim.world.plant import Lines, Plant

BLOCKS = 700


def run(scenario, splits, seed=None):
    plant = Plant(scenario, seed)
    parts = [plant.advance(n) for n in splits]
    return plant, {
        f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Lines)[2:]
    }


def digest(lines):
    return hashlib.sha256(b"".join(line.astype("<i4").tobytes() for line in lines.values())).hexdigest()


@pytest.mark.parametrize("name", ["monsoon-night", "theatre-day"])
def test_splits_do_not_matter(name):
    scenario = scenarios.load(name)
    one, whole = run(scenario, [BLOCKS])
    many, parts = run(scenario, [1, 2, 3, 94, 1, 199, 400])
    assert digest(whole) == digest(parts)
    assert one.truth() == many.truth()
    assert one.supply_states() == many.supply_states()
    for key, column in one.breaths().items():
        assert np.array_equal(column, many.breaths()[key])


def test_another_seed_is_another_night():
    scenario = scenarios.load("monsoon-night")
    assert digest(run(scenario, [100])[1]) != digest(run(scenario, [100], seed=5)[1])
    assert digest(run(scenario, [100])[1]) == digest(run(scenario, [100])[1])


def test_lines_have_the_agreed_shape():
    _, lines = run(scenarios.load("quiet-night"), [5])
    width = {"supply_in_cv": 320, "supply_out_cv": 320, "pressure_ucm": 10}
    for name, line in lines.items():
        assert line.dtype == np.int32
        assert len(line) == 5 * width.get(name, 1)


def test_supply_samples_use_integers_only():
    """A float in the fast path could give other bits on another machine: the compiled types must be int64."""
    for field in (*samples.Carrier.__annotations__.items(), *samples.Drive.__annotations__.items()):
        assert field[1] is int
    assert waves.sine_table().dtype == np.int16


def test_no_fused_multiply_add_is_compiled():
    """Fused operations round once instead of twice and would give other bits on other machines."""
    plant = Plant(scenarios.load("quiet-night"))
    state, settings = plant.state.breathing, plant.settings
    circuit.step_circuit(
        state.circuit,
        settings.circuit,
        settings.patient,
        settings.ventilator,
        state.ventilator,
        0.0,
        1,
        0,
        0.01,
    )
    (text,) = circuit.step_circuit.inspect_asm().values()
    assert "mulsd" in text or "fmul" in text, "the listing is real"
    assert "fmadd" not in text
    assert "fmsub" not in text


def test_table_entries_are_far_from_a_rounding_tie():
    """So the last bit of a library's sine can't change an entry."""
    turns = 2 * np.pi * np.arange(waves.TABLE_SIZE) / waves.TABLE_SIZE
    assert np.abs((32767 * np.sin(turns)) % 1 - 0.5).min() > 1e-6


def test_mixer_against_a_plain_integer_version():
    """SplitMix64's finaliser in Python's own integers (constants from memory)."""
    mask = 2**64 - 1
    for stream, counter in ((1, 0), (7, 1), (123, 2**40), (2**63, 99)):
        x = (counter * 0x9E3779B97F4A7C15 + stream) & mask
        x = ((x ^ (x >> 30)) * 0xBF58476D1CE4E5B9) & mask
        x = ((x ^ (x >> 27)) * 0x94D049BB133111EB) & mask
        assert int(noise.mix(np.uint64(stream), counter)) == x ^ (x >> 31)


def test_noise_has_its_moments():
    stream = noise.stream(3, noise.STREAM_LEVEL)
    bell = np.array([noise.bell(stream, k) for k in range(20_000)])
    assert abs(bell.mean()) < 0.03
    assert bell.std() == pytest.approx(1.0, abs=0.02)
    assert abs(np.corrcoef(bell[:-1], bell[1:])[0, 1]) < 0.03
    flat = np.array([noise.unit(stream, k) for k in range(20_000)])
    assert 0 <= flat.min() < 0.001
    assert 0.999 < flat.max() < 1
    assert flat.mean() == pytest.approx(0.5, abs=0.01)
