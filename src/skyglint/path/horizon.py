"""How far one sees over a smooth Earth, how much it bulges between two places, what it hides.

``radius_m`` is 6371 km for straight rays, 8500 km for radio near the ground ("4/3 Earth", ITU-R P.526 Annex 1 sec. 1).
The 4/3 belongs to the lowest kilometre of air: rays to the meteor layer are straight. All heights are above the
smooth surface. Sources: plane trigonometry; ITU-R P.526 sec. 3.2 for the distance of two horizons.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from skyglint.path.constants import EARTH_RADIUS_M, FloatArray


def horizon_distance_m(height_m: ArrayLike, radius_m: float = EARTH_RADIUS_M) -> FloatArray:
    """Return the distance to the horizon, sqrt(2 a h); a height below the surface sees nothing."""
    return np.sqrt(2 * radius_m * np.maximum(np.asarray(height_m, dtype=np.float64), 0.0))


def bulge_m(distance1_m: ArrayLike, distance2_m: ArrayLike, radius_m: float = EARTH_RADIUS_M) -> FloatArray:
    """Return how far the surface stands above the chord at distances from its two ends: d1 d2 / (2 a)."""
    return np.asarray(np.asarray(distance1_m, dtype=np.float64) * np.asarray(distance2_m) / (2 * radius_m))


def lowest_visible_height_m(
    distance_m: ArrayLike,
    observer_height_m: ArrayLike,
    radius_m: float = EARTH_RADIUS_M,
    horizon_elevation_deg: ArrayLike = -90.0,
) -> FloatArray:
    """Return the height above the surface at which something at a distance comes out of the Earth's shadow.

    Parameters
    ----------
    horizon_elevation_deg
        Elevation of the terrain that stands in the way; below the smooth Earth's own horizon it changes nothing.
    """
    distance, observer = np.asarray(distance_m, dtype=np.float64), np.asarray(observer_height_m, dtype=np.float64)
    beyond = np.maximum(distance - horizon_distance_m(observer, radius_m), 0.0)
    smooth = radius_m * (1 / np.cos(beyond / radius_m) - 1)
    elevation = np.radians(horizon_elevation_deg)
    # The ray that grazes the terrain, followed to the given distance.
    shell = (radius_m + observer) * np.cos(elevation) / np.cos(elevation + distance / radius_m) - radius_m
    dip = -np.sqrt(2 * np.maximum(observer, 0.0) / radius_m)
    return np.asarray(np.where(elevation > dip, np.maximum(shell, smooth), smooth))


def hidden_m(
    distance_m: ArrayLike,
    transmitter_height_m: ArrayLike,
    observer_height_m: ArrayLike,
    radius_m: float = EARTH_RADIUS_M,
    horizon_elevation_deg: ArrayLike = -90.0,
) -> FloatArray:
    """Return how far a transmitter's top is below the observer's horizon; negative where it stands above."""
    lowest = lowest_visible_height_m(distance_m, observer_height_m, radius_m, horizon_elevation_deg)
    return np.asarray(lowest - np.asarray(transmitter_height_m, dtype=np.float64))


def line_of_sight_m(height1_m: ArrayLike, height2_m: ArrayLike, radius_m: float) -> FloatArray:
    """Return the distance at which two heights just see each other (ITU-R P.526 sec. 3.2)."""
    return horizon_distance_m(height1_m, radius_m) + horizon_distance_m(height2_m, radius_m)
