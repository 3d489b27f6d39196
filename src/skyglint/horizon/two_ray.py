"""The direct signal over a plane: the straight ray and the one that the ground reflects."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from skyglint.path.antenna import reflection_coefficient
from skyglint.path.constants import FloatArray
from skyglint.path.diffraction import Surface
from skyglint.path.free_space import free_space_loss_db
from skyglint.path.geometry import wavelength_m

#: Antennas lower than this are taken to stand this high: an antenna on the ground would hear nothing at all.
_LOWEST_ANTENNA_M = 0.01


def two_ray_loss_db(
    distance_m: ArrayLike,
    height1_m: ArrayLike,
    height2_m: ArrayLike,
    frequency_hz: ArrayLike,
    *,
    vertical: ArrayLike = False,
    surface: Surface = "land",
) -> FloatArray:
    """Return the loss between isotropic antennas over a smooth plane, free space included.

    Parameters
    ----------
    distance_m
        Along the plane.
    height1_m, height2_m
        Antenna heights above it.
    vertical
        True where the polarisation is vertical.

    Notes
    -----
    Direct and reflected ray add as fields, the second with the Fresnel coefficient of the ground (ITU-R P.527) and the
    phase of its longer way. Far away this is 40 log d - 20 log(h1 h2), the plane-Earth loss. The surface wave, which
    matters only for vertical antennas lower than about a wavelength, is left out.
    """
    along = np.asarray(distance_m, dtype=np.float64)
    h1 = np.maximum(np.asarray(height1_m, dtype=np.float64), _LOWEST_ANTENNA_M)
    h2 = np.maximum(np.asarray(height2_m, dtype=np.float64), _LOWEST_ANTENNA_M)
    direct, reflected = np.hypot(along, h1 - h2), np.hypot(along, h1 + h2)
    # Without the cancellation of two nearly equal lengths.
    lag = 2 * np.pi * (4 * h1 * h2 / (direct + reflected)) / wavelength_m(frequency_hz)
    grazing_deg = np.degrees(np.arctan2(h1 + h2, along))
    coefficient = np.where(
        vertical,
        reflection_coefficient(grazing_deg, frequency_hz, vertical=True, surface=surface),
        reflection_coefficient(grazing_deg, frequency_hz, vertical=False, surface=surface),
    )
    field = np.abs(1 + coefficient * direct / reflected * np.exp(-1j * lag))
    return np.asarray(free_space_loss_db(direct, frequency_hz) - 20 * np.log10(np.maximum(field, 1e-12)))
