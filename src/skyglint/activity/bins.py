"""Edges of bins of time: clock hours, nights, hours of local solar time, degrees of solar longitude; POSIX seconds."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from skyglint.sky.sun import local_apparent_solar_hour, solar_longitude_deg, unix_at_solar_longitude

_HOUR_S = 3600.0
_DAY_S = 86_400.0


def hour_edges(start_unix: float, end_unix: float) -> NDArray[np.float64]:
    """Return the clock hours (UTC) that hold the span, as edges."""
    first, last = math.floor(start_unix / _HOUR_S), math.ceil(end_unix / _HOUR_S)
    return _HOUR_S * np.arange(first, max(last, first + 1) + 1, dtype=np.float64)


def night_edges(start_unix: float, end_unix: float, longitude_deg: float) -> NDArray[np.float64]:
    """Return the nights that hold the span, as edges: from mean solar noon to the next at the longitude."""
    noon_s = _DAY_S / 2 - longitude_deg / 360 * _DAY_S
    first, last = math.floor((start_unix - noon_s) / _DAY_S), math.ceil((end_unix - noon_s) / _DAY_S)
    return noon_s + _DAY_S * np.arange(first, max(last, first + 1) + 1, dtype=np.float64)


def solar_hour_edges(start_unix: float, end_unix: float, longitude_deg: float) -> NDArray[np.float64]:
    """Return the whole hours of local apparent solar time that hold the span, as edges.

    The equation of time moves by about half a minute a day at most: one correction finds each edge within a
    hundredth of a second, and one edge more makes up for what a day may lose.
    """
    into = float(local_apparent_solar_hour(start_unix, longitude_deg)) % 1.0
    first = start_unix - _HOUR_S * into
    edges = first + _HOUR_S * np.arange(math.ceil((end_unix - first) / _HOUR_S) + 2)
    error_h = (local_apparent_solar_hour(edges, longitude_deg) + 0.5) % 1.0 - 0.5
    return np.asarray(edges - _HOUR_S * error_h)


def solar_longitude_edges(start_unix: float, end_unix: float) -> NDArray[np.float64]:
    """Return the whole degrees of solar longitude (J2000) that hold the span, as edges; one lasts about a day."""
    edges = [unix_at_solar_longitude(math.floor(float(solar_longitude_deg(start_unix))), start_unix)]
    while edges[-1] < end_unix or len(edges) < 2:
        ahead = round(float(solar_longitude_deg(edges[-1]))) + 1
        edges.append(unix_at_solar_longitude(ahead % 360, edges[-1] + 1.0146 * _DAY_S))
    return np.array(edges)
