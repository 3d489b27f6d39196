"""The sporadic sky of every month and local solar hour, as tables over directions seen from a turning Earth.

Rows are bands of declination, columns bands of the angle from the Sun's meridian. The scale is that of ITU-R P.843-1
(1997) sec. 1: on a horizontal square metre fall 160/q trails a second with line densities above q per metre, taken
here at 45 degrees north, as the mean of the day and the year.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skyglint.path.constants import FloatArray
from skyglint.sky.sporadic import SOURCES
from skyglint.sky.sun import OBLIQUITY_J2000_DEG

BIN_DEG: Final = 5.0
ROWS: Final = int(180 / BIN_DEG)
COLUMNS: Final = int(360 / BIN_DEG)

#: Trails per square metre and second above a line density q (per metre), times q: ITU-R P.843-1 (1997) sec. 1, which
#: goes with a mass index of 2.
FLUX_TIMES_DENSITY: Final = 160.0
MASS_INDEX: Final = 2.0

#: How many times more fall at the day's maximum than at its minimum, at mid-latitude: ITU-R P.843-1 (1997) sec. 1. The
#: six sources alone swing by more; the rest of the sky gets an even share that makes it so.
DAILY_SWING: Final = 4.0

_REFERENCE_LATITUDE_DEG: Final = 45.0
_PER_HOUR: Final = 3600.0


@lru_cache(maxsize=1)
def monthly_skies() -> FloatArray:
    """Return trails per steradian, square metre across the stream and hour, times q in zenith incidence.

    Shape (12, ROWS, COLUMNS); column 0 begins at the Sun's meridian, columns run eastwards. A month stands for the
    solar longitude at its middle.
    """
    shapes = np.stack([_sky(longitude) for longitude in (280.0 + 30.0 * (np.arange(12) + 0.5)) % 360.0])
    latitude = np.radians(_REFERENCE_LATITUDE_DEG)
    declination, hour_angle = np.radians(band_centers_deg())[:, None], np.radians(column_centers_deg())
    zenith = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle)
    # Once for the area that a slanting stream finds, once for its thinner ionisation (q goes as cos z, counts as q^-1).
    falling = (np.maximum(zenith, 0.0) ** MASS_INDEX * np.cos(declination) * np.radians(BIN_DEG) ** 2).ravel()
    course = _turning(shapes.mean(axis=0)[None], falling[None])[0, 0]
    even = (course.max() - DAILY_SWING * course.min()) / (DAILY_SWING - 1) / falling.sum()
    mean = course.mean() + even * falling.sum()
    return np.asarray((shapes + even) * (FLUX_TIMES_DENSITY * _PER_HOUR / mean))


def band_centers_deg() -> FloatArray:
    """Return the declinations in the middle of the rows."""
    return np.asarray(-90.0 + BIN_DEG * (np.arange(ROWS) + 0.5), dtype=np.float64)


def column_centers_deg() -> FloatArray:
    """Return the angles, east of the Sun's meridian, in the middle of the columns."""
    return np.asarray(BIN_DEG * (np.arange(COLUMNS) + 0.5), dtype=np.float64)


def cells(radiant: FloatArray, site_longitude_deg: float) -> NDArray[np.intp]:
    """Return the flat index of the table's cell for Earth-fixed unit vectors, columns counted from the site's meridian.

    ``hourly_rates`` turns the columns to the Sun's meridian.
    """
    declination = np.degrees(np.arcsin(np.clip(radiant[..., 2], -1, 1)))
    east = np.degrees(np.arctan2(radiant[..., 1], radiant[..., 0])) - site_longitude_deg
    row = np.clip(((declination + 90.0) // BIN_DEG).astype(np.intp), 0, ROWS - 1)
    column = ((east % 360.0) // BIN_DEG).astype(np.intp) % COLUMNS
    return np.asarray(row * COLUMNS + column)


def hourly_rates(response: FloatArray) -> FloatArray:
    """Return counts per hour by month and local solar hour, shape (..., 12, 24), from responses of paths.

    Parameters
    ----------
    response
        What a path counts of a sky of one, over the table's cells with columns from the site's meridian, shape
        (..., ROWS * COLUMNS), in square metres steradian per line density.
    """
    rates = _turning(monthly_skies(), np.asarray(response).reshape(-1, ROWS * COLUMNS))
    return rates.reshape(*np.shape(response)[:-1], 12, 24)


def mean_sky() -> FloatArray:
    """Return the sky's mean over the day and the year by declination, shape (ROWS,)."""
    return np.asarray(monthly_skies().mean(axis=(0, 2)))


def _turning(skies: FloatArray, responses: FloatArray) -> FloatArray:
    """Return the sums of responses (k, cells) over skies (m, rows, columns) at 24 local solar hours: (k, m, 24)."""
    per_hour = int(15 / BIN_DEG)
    rates = np.empty((len(responses), len(skies), 24))
    for hour in range(24):
        # At noon the Sun stands on the site's meridian; an hour later the site has turned 15 degrees to the east of it.
        turned = np.roll(skies, -per_hour * (hour - 12), axis=2).reshape(len(skies), -1)
        rates[:, :, hour] = responses @ turned.T
    return rates


def _sky(solar_longitude_deg: float) -> FloatArray:
    """Return the sources' weights per steradian over the table."""
    tilt = np.radians(OBLIQUITY_J2000_DEG)
    sun = np.radians(solar_longitude_deg)
    sun_right_ascension = np.arctan2(np.sin(sun) * np.cos(tilt), np.cos(sun))
    declination = np.radians(band_centers_deg())[:, None]
    right_ascension = sun_right_ascension + np.radians(column_centers_deg())
    x = np.cos(declination) * np.cos(right_ascension)
    y = np.cos(declination) * np.sin(right_ascension)
    z = np.sin(declination) + 0 * right_ascension
    latitude = np.degrees(np.arcsin(np.clip(z * np.cos(tilt) - y * np.sin(tilt), -1, 1)))
    longitude = np.degrees(np.arctan2(y * np.cos(tilt) + z * np.sin(tilt), x)) - solar_longitude_deg
    sky = np.zeros_like(z)
    for source in SOURCES:
        along = ((longitude - source.longitude_deg + 180) % 360 - 180) * np.cos(np.radians(source.latitude_deg))
        across = latitude - source.latitude_deg
        shape = np.exp(-4 * np.log(2) * ((along / source.width_deg) ** 2 + (across / source.height_deg) ** 2))
        solid = np.cos(declination) * np.radians(BIN_DEG) ** 2
        sky += source.weight * shape / np.sum(shape * solid)
    return np.asarray(sky)
