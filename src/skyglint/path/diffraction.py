"""Diffraction around a smooth spherical Earth: ITU-R P.526-15 sec. 3."""

from __future__ import annotations

from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from skyglint.path.constants import EFFECTIVE_RADIUS_M, FloatArray
from skyglint.path.geometry import wavelength_m
from skyglint.path.horizon import line_of_sight_m

Surface = Literal["land", "sea"]

#: Relative permittivity and conductivity (S/m) of average land and of the sea, ITU-R P.526 sec. 3.1 by P.527.
GROUND: Final[dict[Surface, tuple[float, float]]] = {"land": (22.0, 0.003), "sea": (80.0, 5.0)}

#: Antennas lower than this are taken to stand this high: the formulas know no height of zero.
_LOWEST_ANTENNA_M: Final = 0.01


def diffraction_loss_db(
    distance_m: ArrayLike,
    height1_m: ArrayLike,
    height2_m: ArrayLike,
    frequency_hz: ArrayLike,
    *,
    vertical: ArrayLike = False,
    surface: Surface = "land",
    effective_radius_m: float = EFFECTIVE_RADIUS_M,
) -> FloatArray:
    """Return the loss by diffraction, beyond that of free space, over a smooth spherical Earth at any distance.

    Parameters
    ----------
    height1_m, height2_m
        Antenna heights above the smooth surface.
    vertical
        True where the polarisation is vertical, False where it is horizontal.

    Notes
    -----
    ITU-R P.526-15 sec. 3.2 (within the horizons, by interpolation) and 3.1 (beyond, the first term of the residue
    series). Valid from about 10 MHz up.
    """
    d = np.asarray(distance_m, dtype=np.float64) / 1e3
    h1 = np.maximum(np.asarray(height1_m, dtype=np.float64), _LOWEST_ANTENNA_M)
    h2 = np.maximum(np.asarray(height2_m, dtype=np.float64), _LOWEST_ANTENNA_M)
    f = np.asarray(frequency_hz, dtype=np.float64) / 1e6
    radius = effective_radius_m / 1e3
    beyond = _first_term_db(d, h1, h2, f, radius, vertical, surface)
    within = d < line_of_sight_m(h1, h2, effective_radius_m) / 1e3
    if not np.any(within):
        return beyond
    return np.where(within, _within_horizon_db(d, h1, h2, f, radius, vertical, surface), beyond)


def _first_term_db(
    d: FloatArray,
    h1: FloatArray,
    h2: FloatArray,
    f: FloatArray,
    radius: ArrayLike,
    vertical: ArrayLike,
    surface: Surface,
) -> FloatArray:
    """Sec. 3.1: distances and radius in km, heights in m, frequency in MHz, as the Recommendation has them."""
    permittivity, conductivity = GROUND[surface]
    radius = np.asarray(radius, dtype=np.float64)
    loss_tangent_2 = (18_000 * conductivity / f) ** 2
    k = 0.36 * (radius * f) ** (-1 / 3) * ((permittivity - 1) ** 2 + loss_tangent_2) ** -0.25
    k = np.where(vertical, k * np.sqrt(permittivity**2 + loss_tangent_2), k)
    beta = (1 + 1.6 * k**2 + 0.67 * k**4) / (1 + 4.5 * k**2 + 1.53 * k**4)
    x = 2.188 * beta * f ** (1 / 3) * radius ** (-2 / 3) * d
    scale = 9.575e-3 * beta * f ** (2 / 3) * radius ** (-1 / 3)
    with np.errstate(divide="ignore", invalid="ignore"):
        distance_term = np.where(
            x >= 1.6, 11 + 10 * np.log10(x) - 17.6 * x, -20 * np.log10(x) - 5.6488 * np.maximum(x, 0) ** 1.425
        )
    return np.asarray(-(distance_term + _height_gain_db(scale * h1, beta, k) + _height_gain_db(scale * h2, beta, k)))


def _height_gain_db(y: FloatArray, beta: FloatArray, k: FloatArray) -> FloatArray:
    b = beta * y
    high = np.maximum(b - 1.1, 1e-9)
    gain = np.where(b > 2, 17.6 * np.sqrt(high) - 5 * np.log10(high) - 8, 20 * np.log10(b + 0.1 * b**3))
    return np.asarray(np.maximum(gain, 2 + 20 * np.log10(k)))


def _within_horizon_db(
    d: FloatArray, h1: FloatArray, h2: FloatArray, f: FloatArray, radius: float, vertical: ArrayLike, surface: Surface
) -> FloatArray:
    """Sec. 3.2: none where the ray clears the bulge, else between that and the first term at a shrunken Earth."""
    c = np.abs(h1 - h2) / (h1 + h2)
    m = 250 * d**2 / (radius * (h1 + h2))
    angle = np.arccos(np.clip(1.5 * c * np.sqrt(3 * m / (m + 1) ** 3), -1, 1))
    b = 2 * np.sqrt((m + 1) / (3 * np.maximum(m, 1e-12))) * np.cos(np.pi / 3 + angle / 3)
    d1 = d / 2 * (1 + b)
    d2 = d - d1
    high, low = np.maximum(h1, h2), np.minimum(h1, h2)
    safe_d = np.maximum(d, 1e-6)
    clearance = ((high - 500 * d1**2 / radius) * d2 + (low - 500 * d2**2 / radius) * d1) / safe_d
    required = 17.456 * np.sqrt(np.maximum(d1 * d2, 1e-12) * wavelength_m(f * 1e6) / safe_d)
    shrunken = 500 * (safe_d / (np.sqrt(h1) + np.sqrt(h2))) ** 2
    grazing = _first_term_db(safe_d, h1, h2, f, shrunken, vertical, surface)
    loss = (1 - clearance / required) * grazing
    return np.asarray(np.where((clearance > required) | (grazing < 0), 0.0, loss))
