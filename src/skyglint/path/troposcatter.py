"""Scatter by the lower air: what arrives when the Earth hides the transmitter and no meteor falls.

The Recommendations disagree by some 10 dB at these frequencies, which lie below the range they were fitted for (200
MHz and up): that is the honest uncertainty of a forecast. Two forms stand side by side here.

* :func:`scatter_loss_db`: the shape of ITU-R P.617-5 and P.452-18 eq. (45). From 150 to 300 km it agrees with the
  measured curves of ITU-R P.1546 at 100 MHz within 2.5 dB; at scatter angles below some 10 mrad it gives too little
  loss.
* :func:`scatter_loss_2015_db`: ITU-R P.452-16 eq. (45). It behaves at small angles, and is 7 dB too optimistic at 300
  km.

:func:`troposcatter_loss_db` takes the larger of the two, which is the first beyond about 130 km and the second nearer.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from skyglint.path.constants import EFFECTIVE_RADIUS_M, FloatArray
from skyglint.path.horizon import line_of_sight_m

#: Surface refractivity (N-units) and its mean fall in the lowest kilometre (N-units/km) in a temperate climate,
#: ITU-R P.452 and P.453.
REFRACTIVITY: Final = 320.0
REFRACTIVITY_FALL_PER_KM: Final = 39.0


def scatter_angle_mrad(
    distance_m: ArrayLike,
    height1_m: ArrayLike,
    height2_m: ArrayLike,
    effective_radius_m: float = EFFECTIVE_RADIUS_M,
) -> FloatArray:
    """Return the angle between the two horizon rays over a smooth Earth; negative within line of sight."""
    beyond = np.asarray(distance_m, dtype=np.float64) - line_of_sight_m(height1_m, height2_m, effective_radius_m)
    return np.asarray(1e3 * beyond / effective_radius_m)


def scatter_loss_db(
    angle_mrad: ArrayLike,
    distance_m: ArrayLike,
    frequency_hz: ArrayLike,
    *,
    gains_dbi: ArrayLike = 0.0,
    time_percent: float = 50.0,
    surface_height_m: float = 0.0,
) -> FloatArray:
    """Return the loss (free space included) by the form of ITU-R P.617-5 and P.452-18 eq. (45).

    ``gains_dbi`` is the sum of both antennas' gains along the path (aperture coupling); ``time_percent`` the part of
    the year, 1 to 50 %, in which the loss is no larger. NaN where the angle is not positive.
    """
    angle, f = _positive(angle_mrad), np.asarray(frequency_hz, dtype=np.float64) / 1e6
    refraction = REFRACTIVITY * np.exp(-surface_height_m / 1e3 / 7.35)
    constant = 0.18 * refraction - 0.23 * REFRACTIVITY_FALL_PER_KM
    spread = 22 * np.log10(f) + 35 * np.log10(angle) + 17 * np.log10(np.asarray(distance_m) / 1e3)
    enhanced = enhancement_db(time_percent, surface_height_m)
    return np.asarray(constant + spread + _coupling_db(gains_dbi) - enhanced)


def scatter_loss_2015_db(
    angle_mrad: ArrayLike, distance_m: ArrayLike, frequency_hz: ArrayLike, *, gains_dbi: ArrayLike = 0.0
) -> FloatArray:
    """Return the median loss (free space included) by ITU-R P.452-16 eq. (45), gas absorption left out.

    NaN where the angle is not positive.
    """
    angle, gigahertz = _positive(angle_mrad), np.asarray(frequency_hz, dtype=np.float64) / 1e9
    frequency_term = 25 * np.log10(gigahertz) - 2.5 * np.log10(gigahertz / 2) ** 2
    spread = 20 * np.log10(np.asarray(distance_m) / 1e3) + 0.573 * angle
    return np.asarray(190 + frequency_term + spread - 0.15 * REFRACTIVITY + _coupling_db(gains_dbi))


def troposcatter_loss_db(
    angle_mrad: ArrayLike,
    distance_m: ArrayLike,
    frequency_hz: ArrayLike,
    *,
    gains_dbi: ArrayLike = 0.0,
    time_percent: float = 50.0,
) -> FloatArray:
    """Return the loss (free space included) by scatter, guarded at small angles as this module's head explains.

    NaN within line of sight, where there is no scatter path to speak of.
    """
    newer = scatter_loss_db(angle_mrad, distance_m, frequency_hz, gains_dbi=gains_dbi)
    older = scatter_loss_2015_db(angle_mrad, distance_m, frequency_hz, gains_dbi=gains_dbi)
    return np.asarray(np.maximum(newer, older) - enhancement_db(time_percent))


def enhancement_db(time_percent: float, surface_height_m: float = 0.0) -> float:
    """Return by how much the loss is below its median in a part of the time: Y_p of ITU-R P.617-5 and P.452-18.

    Examples
    --------
    >>> round(enhancement_db(10.0), 2), enhancement_db(50.0)
    (8.81, 0.0)
    """
    if not 0.001 <= time_percent <= 50:
        raise ValueError(f"time_percent is {time_percent}: expected 0.001 to 50")
    refraction = REFRACTIVITY * np.exp(-surface_height_m / 1e3 / 7.35)
    return float(0.035 * refraction * (-np.log10(time_percent / 50) + 0.0) ** 0.67)


def _coupling_db(gains_dbi: ArrayLike) -> FloatArray:
    return np.asarray(0.07 * np.exp(0.055 * np.asarray(gains_dbi, dtype=np.float64)))


def _positive(angle_mrad: ArrayLike) -> FloatArray:
    angle = np.asarray(angle_mrad, dtype=np.float64)
    return np.where(angle > 0, angle, np.nan)
