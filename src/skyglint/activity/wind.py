"""The wind at the layer, as the Doppler shifts of trails tell it through the day."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from skyglint.path.geometry import midpoint_geometry, wavelength_m
from skyglint.sky.sun import local_apparent_solar_hour
from skyglint.store import StoredEcho

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class HourlyDoppler:
    """Mean Doppler shift by hour of the day; all shapes (hours,).

    Attributes
    ----------
    hour
        Middle of each span of local solar time.
    echoes
        Echoes with a measured shift.
    mean_hz, mean_sd_hz
        Mean and its standard error, the scatter between echoes included; NaN with fewer than two echoes.
    scatter_hz
        Scatter between echoes beyond their own errors: different heights, places and gusts.
    """

    hour: Array
    echoes: NDArray[np.int64]
    mean_hz: Array
    mean_sd_hz: Array
    scatter_hz: Array


def doppler_by_hour(
    solar_hour: ArrayLike, doppler_hz: ArrayLike, doppler_sd_hz: ArrayLike, bin_h: float = 1.0
) -> HourlyDoppler:
    """Return the mean shift in each span of local solar time; echoes without a shift or an error are left out.

    Weights allow for each echo's error and for the scatter between echoes, which is estimated from the data (random
    effects, DerSimonian & Laird 1986, Control. Clin. Trials 7, 177).
    """
    hour, shift, sd = np.broadcast_arrays(
        *(np.asarray(value, dtype=np.float64) for value in (solar_hour, doppler_hz, doppler_sd_hz))
    )
    bins = round(24.0 / bin_h)
    index = (hour % 24.0 / 24.0 * bins).astype(np.intp) % bins
    good = np.isfinite(shift) & (sd > 0)
    groups = [(shift[good & (index == i)], sd[good & (index == i)]) for i in range(bins)]
    means = np.array([_random_effects(*group) for group in groups])
    counted = np.array([len(group[0]) for group in groups], dtype=np.int64)
    return HourlyDoppler((np.arange(bins) + 0.5) * 24.0 / bins, counted, *means.T)


def shifts_of(echoes: Iterable[StoredEcho], longitude_deg: float) -> Array:
    """Return local solar hour, shift and error of the meteors that have a shift, shape (n, 3)."""
    found = [
        (stored.echo.start_unix, stored.echo.doppler_hz, stored.echo.doppler_sd_hz)
        for stored in echoes
        if stored.meteoric and math.isfinite(stored.echo.doppler_hz)
    ]
    shifts = np.array(found, dtype=np.float64).reshape(-1, 3)
    shifts[:, 0] = local_apparent_solar_hour(shifts[:, 0], longitude_deg)
    return shifts


def shifts_by_hour(echoes: Iterable[StoredEcho], longitude_deg: float) -> HourlyDoppler:
    """Return the mean shifts of echoes by local solar hour at a longitude."""
    return doppler_by_hour(*shifts_of(echoes, longitude_deg).T)


@dataclass(frozen=True, slots=True)
class HourlyWind:
    """Drift of the trails by hour of the day, less its mean over the hours; all shapes (hours,).

    Attributes
    ----------
    hour, echoes
        As :class:`HourlyDoppler` has them.
    speed_m_s, speed_sd_m_s
        Drift along the bisector of the two rays, positive towards the ends, and its standard error.
    """

    hour: Array
    echoes: NDArray[np.int64]
    speed_m_s: Array
    speed_sd_m_s: Array


def wind_by_hour(
    doppler: HourlyDoppler, frequency_hz: float, distance_km: float, height_km: float = 95.0
) -> HourlyWind:
    """Return the drift that hourly shifts stand for, trails being taken to lie over the middle of the path.

    The weighted mean over the hours is taken off: it holds the offsets of the transmitter and of the receiver's clock
    beside the mean drift. What is left is how the drift changes through the day, the tide above all.
    """
    phi_deg = midpoint_geometry(1e3 * distance_km, 1e3 * height_km)[2]
    told = np.isfinite(doppler.mean_hz + doppler.mean_sd_hz)
    weight = np.where(told, 1.0 / np.where(told, doppler.mean_sd_hz, 1.0) ** 2, 0.0)
    mean = float(weight @ np.nan_to_num(doppler.mean_hz) / weight.sum()) if told.any() else np.nan
    speed = bisector_speed_m_s(doppler.mean_hz - mean, frequency_hz, phi_deg)
    return HourlyWind(
        doppler.hour, doppler.echoes, speed, bisector_speed_m_s(doppler.mean_sd_hz, frequency_hz, phi_deg)
    )


def bisector_speed_m_s(doppler_hz: ArrayLike, frequency_hz: ArrayLike, phi_deg: ArrayLike) -> Array:
    """Return the drift along the bisector of the two rays that gives a shift, positive towards the ends.

    f = (2 v / lambda) cos phi (standard bistatic result); ``phi_deg`` is half the angle between the rays at the trail.
    """
    cosine = np.cos(np.radians(phi_deg))
    return np.asarray(np.asarray(doppler_hz) * wavelength_m(frequency_hz) / (2.0 * cosine))


def _random_effects(value: Array, sd: Array) -> tuple[float, float, float]:
    """Return mean, its standard error and the scatter beyond the errors."""
    if len(value) < 2:
        return np.nan, np.nan, np.nan
    weight = sd**-2.0
    mean = np.average(value, weights=weight)
    square = float(np.sum(weight * (value - mean) ** 2))
    scale = weight.sum() - np.sum(weight**2) / weight.sum()
    scatter2 = max(0.0, (square - (len(value) - 1)) / scale)
    wide = 1.0 / (sd**2 + scatter2)
    return float(np.average(value, weights=wide)), float(wide.sum() ** -0.5), float(scatter2**0.5)
