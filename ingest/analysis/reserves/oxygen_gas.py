"""Density of oxygen gas by the reference equation of state.

Source: R. Schmidt, W. Wagner, "A new form of the equation of state for pure substances and its
application to oxygen", Fluid Phase Equilibria 19 (1985) 175-200: reduced Helmholtz energy with 32
residual terms n * d^i * t^j * exp(-d^l), d = rho/rho_c, t = T_c/T. The authors state +-0.1 % in
density in the range used here (published; from memory). The ideal part isn't needed for density.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ingest.analysis.units import ATMOSPHERE_BAR, CELSIUS_ZERO_K

GAS_CONSTANT_J_MOL_K: Final = 8.31434  # the value the equation was fitted with
CRITICAL_K: Final = 154.581
CRITICAL_MOL_M3: Final = 13630.0
REFERENCE_C: Final = 15.0  # contents are litres at 15 °C and one atmosphere, as cylinder trade states them

_N: Final[NDArray[np.float64]] = np.array(
    [
        0.3983768749, -1.846157454, 0.4183473197, 0.02370620711, 0.09771730573, 0.03017891294,
        0.02273353212, 0.01357254086, -0.04052698943, 0.0005454628515, 0.0005113182277, 2.953466883e-07,
        -8.687645072e-05, -0.2127082589, 0.08735941958, 0.127550919, -0.09067701064, -0.03540084206,
        -0.03623278059, 0.0132769929, -0.0003254111865, -0.008313582932, 0.002124570559, -0.0008325206232,
        -2.626173276e-05, 0.002599581482, 0.009984649663, 0.002199923153, -0.02591350486, -0.1259630848,
        0.1478355637, -0.01011251078,
    ]
)  # fmt: skip
_I: Final[NDArray[np.float64]] = np.array(
    [1, 1, 1, 2, 2, 2, 3, 3, 3, 6, 7, 7, 8, 1, 1, 2, 2, 3, 3, 5, 6, 7, 8, 10, 2, 3, 3, 4, 4, 5, 5, 5],
    dtype=np.float64,
)
_J: Final[NDArray[np.float64]] = np.array(
    [0, 1.5, 2.5, -0.5, 1.5, 2, 0, 1, 2.5, 0, 2, 5, 2, 5, 6, 3.5, 5.5, 3, 7, 6, 8.5, 4, 6.5, 5.5,
     22, 11, 18, 11, 23, 17, 18, 23]
)  # fmt: skip
_L: Final[NDArray[np.float64]] = np.array([0] * 13 + [2] * 11 + [4] * 8, dtype=np.float64)


def compressibility(density_mol_m3: float, temperature_k: float) -> float:
    """Return Z = p / (rho R T) of oxygen at a molar density: 1 + d * d(phi_r)/dd."""
    d = density_mol_m3 / CRITICAL_MOL_M3
    t = CRITICAL_K / temperature_k
    damping = np.where(_L > 0, np.exp(-(d**_L)), 1.0)
    slope = np.where(_L > 0, _I - _L * d**_L, _I)
    return float(1.0 + np.sum(_N * d**_I * t**_J * damping * slope))


@lru_cache(maxsize=4096)
def density_mol_m3(pressure_bar: float, temperature_c: float) -> float:
    """Return the molar density of oxygen gas at an absolute pressure (0–350 bar, −30…60 °C).

    Solves p = Z rho R T by secant from the ideal gas; above the critical temperature there is one root.
    """
    if pressure_bar <= 0:
        return 0.0
    temperature_k = temperature_c + CELSIUS_ZERO_K
    rt = GAS_CONSTANT_J_MOL_K * temperature_k
    target_pa = pressure_bar * 1e5
    before, now = 0.98 * target_pa / rt, target_pa / rt
    miss_before = compressibility(before, temperature_k) * before * rt - target_pa
    for _ in range(50):
        miss = compressibility(now, temperature_k) * now * rt - target_pa
        if abs(miss) <= 1e-10 * target_pa or miss == miss_before:
            break
        before, now, miss_before = now, now - miss * (now - before) / (miss - miss_before), miss
    assert abs(miss) < 1e-6 * target_pa, (pressure_bar, temperature_c)
    return now


def litres_per_litre(gauge_bar: float, temperature_c: float, ambient_bar: float = ATMOSPHERE_BAR) -> float:
    """Return litres of oxygen (15 °C, 1 atm) held by one litre of water capacity, real gas.

    Counts all gas, also the one atmosphere that stays behind. 137 bar gauge at 15 °C: 146.24.
    """
    reference = density_mol_m3(ATMOSPHERE_BAR, REFERENCE_C)
    return density_mol_m3(gauge_bar + ambient_bar, temperature_c) / reference


def litres_per_litre_ideal(
    gauge_bar: float, temperature_c: float, ambient_bar: float = ATMOSPHERE_BAR
) -> float:
    """Return the same by the ideal gas law (definition). 137 bar gauge at 15 °C: 136.21."""
    warmth = (REFERENCE_C + CELSIUS_ZERO_K) / (temperature_c + CELSIUS_ZERO_K)
    return (gauge_bar + ambient_bar) / ATMOSPHERE_BAR * warmth
