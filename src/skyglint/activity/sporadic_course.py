"""The daily course that the sporadic sources should give on a path, to hold against the course that was counted."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.response import ChannelPath, counted_area_km2
from skyglint.sky.radiants import apparent_direction_ecef
from skyglint.sky.sporadic import source_directions_ecef, spread
from skyglint.sky.sun import local_apparent_solar_hour

Array = NDArray[np.float64]


def expected_course(path: ChannelPath, middle_unix: float, solar_hour: Array) -> Array:
    """Return the sporadic rate at local solar hours of the site, shape (n,), relative to the day's mean.

    The six sources with their widths (positions and weights are a working assumption, see
    :mod:`skyglint.sky.sporadic`) through the path's counted area, for the day around ``middle_unix``; a month's course
    is well told by that of its middle. Meteors from between the sources are not in it, so that it swings more than the
    real one does, most in the local spring. All zero where the path has no layer.
    """
    parts = spread()
    unix = middle_unix + 3600.0 * np.arange(-12.0, 12.0)
    speeds = np.array([part.speed_km_s for part in parts])[:, None]
    weights = np.array([part.weight for part in parts])
    directions = apparent_direction_ecef(source_directions_ecef(unix, parts), speeds, *path.layer.center_deg)
    rate = weights @ counted_area_km2(path, directions, speeds)
    hour = local_apparent_solar_hour(unix, path.site.site.longitude_deg)
    mean = rate.mean() or 1.0
    course: Array = np.interp(solar_hour, hour, rate / mean, period=24.0)
    return course
