"""The error budget adds up, by another method too, and the emulated board keeps within it."""

import re

import numpy as np
import pytest

from firmware_sim.board import adc
from firmware_sim.board.converter import WIRE_UNITS
from firmware_sim.contract import channels, settings
from firmware_sim.hardware import errors
from firmware_sim.hardware.docs import write_budgets
from firmware_sim.hardware.errors import BUDGETS, UNITS

NAMES = [budget.channel for budget in BUDGETS]
DRAWS = 200_000


def readings(budget):
    """Return some readings over a channel's range, none of them negative."""
    row = errors.row_of(budget.channel)
    return np.linspace(max(0.0, row[6]), row[7] * 0.95, 7)


def test_every_channel_has_a_budget():
    assert sorted(NAMES) == sorted(row[1] for row in channels.CHANNELS)


@pytest.mark.parametrize("budget", BUDGETS, ids=NAMES)
def test_the_claim_is_the_sum_rounded_up(budget):
    for claim, total in zip((budget.claim_units, budget.claim_percent), errors.expanded(budget), strict=True):
        assert 1.0 <= claim / total <= 1.26, (claim, total)


@pytest.mark.parametrize("budget", BUDGETS, ids=NAMES)
def test_draws_of_all_contributions_lie_within_the_claim(budget):
    """Propagation of distributions (JCGM 101:2008): no formula for sums, only draws."""
    random = np.random.default_rng(7)
    for reading in readings(budget):
        total = np.zeros(DRAWS)
        for part in budget.parts:
            size = part.size if part.kind == UNITS else part.size * reading / 100
            draw = (
                random.uniform(-size, size, DRAWS)
                if part.shape == errors.LIMIT
                else random.normal(0, size, DRAWS)
            )
            total += draw
        inside = np.mean(np.abs(total) <= errors.claimed(budget, reading))
        assert inside >= 0.95, (reading, inside)
        assert np.abs(total).max() <= errors.worst(budget, reading) * 1.3
        # A claim far too wide would be no sum either: the standard deviation is at least a third of it.
        assert total.std() * 3.3 >= errors.claimed(budget, reading) / np.sqrt(2)


@pytest.mark.parametrize("budget", BUDGETS, ids=NAMES)
def test_the_plain_sum_is_wider_than_the_claim(budget):
    for reading in readings(budget):
        assert errors.worst(budget, reading) >= errors.claimed(budget, reading) * 0.95


def emulated_codes(budget, values):
    """Return the mean code of the emulated converter, with its flaws, at constant inputs."""
    number, unit = errors.row_of(budget.channel)[0], WIRE_UNITS[errors.row_of(budget.channel)[0]]
    parameter = adc.parameters(number, unit, seed=11)
    out = []
    for value in values:
        codes = np.empty(4096, np.int16)
        adc.convert(np.full(4096, round(value / unit), np.int32), 0, parameter, codes)
        out.append(codes.mean())
    return np.array(out)


@pytest.mark.parametrize("budget", BUDGETS, ids=NAMES)
def test_the_emulated_board_is_within_what_is_said_before_and_after_calibration(budget):
    """Measured at the emulated converter's output, ideal two-point calibration by numpy's polyfit."""
    _, _, _, _, low, _, value_low, _, _ = errors.row_of(budget.channel)
    values, step = readings(budget)[1:], errors.code_size(budget.channel)
    codes = emulated_codes(budget, values)
    zero = 0 if budget.channel.startswith("supply") else low
    bottom = 0.0 if budget.channel.startswith("supply") else value_low
    plain = (codes - zero) * step + bottom
    allowed = budget.as_built_percent * (values - bottom) / 100 + (budget.as_built_codes + 1) * step
    assert (np.abs(plain - values) <= allowed).all()
    slope, offset = np.polyfit(plain[[0, -1]], values[[0, -1]], 1)
    after = slope * plain + offset
    assert (np.abs(after - values) <= [errors.claimed(budget, value) for value in values]).all()


@pytest.mark.parametrize("budget", BUDGETS, ids=NAMES)
def test_flaws_and_settings_agree_with_the_budget(budget):
    """The emulated flaws are smaller than what is allowed as built, and the settings can take that out."""
    flaws = adc.FLAWS[errors.row_of(budget.channel)[0]]
    assert abs(flaws.gain_ppm) / 1e4 <= budget.as_built_percent
    assert abs(flaws.offset_codes) <= budget.as_built_codes
    gain, offset = (
        settings.SETTINGS[settings.ID_OF[f"calibration.{budget.channel}_{what}"]]
        for what in ("gain", "offset")
    )
    assert budget.as_built_percent <= 100 * (gain.high / 16384 - 1)
    assert budget.as_built_codes <= offset.high
    noise = next(part for part in budget.parts if part.what.startswith("converter's noise"))
    averaged = int(re.search(r"over (\d+)", noise.what)[1]) if "over" in noise.what else 1
    assert noise.size * averaged**0.5 / errors.code_size(budget.channel) == pytest.approx(
        flaws.noise_q8 / 256
    )


def test_class_s_is_met_by_the_taps():
    """±0.5 % of the declared voltage (IEC 61000-4-30, from memory)."""
    assert errors.claimed(BUDGETS[0], 230.0) <= 0.005 * 230
    assert errors.claimed(BUDGETS[0], 120.0) <= 0.006 * 120


def test_a_ventilator_s_own_tolerance_is_met():
    """±(2 cmH2O + 4 % of reading) (ISO 80601-2-12, from memory)."""
    budget = BUDGETS[NAMES.index("pressure")]
    assert budget.claim_units <= 2 and budget.claim_percent <= 4


def test_a_forgotten_contribution_would_be_seen():
    """The planted fault: leave the largest part out, and the claim is no longer the sum rounded up."""
    budget = BUDGETS[NAMES.index("oxygen")]
    largest = max((part for part in budget.parts if part.kind != UNITS), key=lambda part: part.standard)
    thin = budget._replace(parts=tuple(part for part in budget.parts if part is not largest))
    assert budget.claim_percent / errors.expanded(thin)[1] > 1.26


def test_the_written_table_shows_every_contribution():
    text = write_budgets()
    for budget in BUDGETS:
        section = text.split(f"**{budget.channel}**\n")[1].split("\n\n**")[0]
        assert all(part.what in section for part in budget.parts)
