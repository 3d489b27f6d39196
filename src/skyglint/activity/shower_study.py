"""The showers in one channel's hours: strength, significance, flux and equivalent visual rate of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.daily import daily_courses
from skyglint.activity.flux import ShowerFlux, shower_flux
from skyglint.activity.mass_index import completeness_limit
from skyglint.activity.rates import Rate
from skyglint.activity.response import FLUX_DENSITY_PER_M, ChannelPath, counted_area_km2
from skyglint.activity.strengths import Peak, ShowerFit, Strength, fit_showers, locate_peak, peak_widening
from skyglint.activity.study import Hours, hours_of
from skyglint.sky.radiants import apparent_direction_ecef, radiant_direction_ecef
from skyglint.sky.showers import Shower, load_showers
from skyglint.sky.sun import solar_longitude_deg
from skyglint.store import StoredEcho

Array = NDArray[np.float64]

#: Showers of the table that are looked for: a visual rate that a radio path can hope to tell from the background.
_LEAST_ZHR = 5.0

#: A shower that stands out by this many standard deviations is asked for the time of its maximum.
_LEAST_SIGMAS = 5.0


@dataclass(frozen=True, slots=True)
class ShowerResult:
    """One shower in one channel.

    Attributes
    ----------
    channel, shower
        Name of the channel, and the shower's row of the table.
    strength
        Echoes per hour and km2 of counted area at the maximum, and how sure.
    flux
        The same as a flux and a visual rate, with what was assumed.
    peak
        When it was strongest; ``None`` for a shower that does not stand out by five standard deviations, or whose
        activity profile is not published.
    area_km2, response_km2
        Counted area at the study's hours, 0 outside the shower's window of activity, and the same times the activity
        relative to the maximum, shape (n,).
    """

    channel: str
    shower: Shower
    strength: Strength
    flux: ShowerFlux
    peak: Peak | None
    area_km2: Array
    response_km2: Array


@dataclass(frozen=True, slots=True)
class ShowerStudy:
    """All showers that a channel's hours could hold.

    Attributes
    ----------
    limit_snr_db
        Peak signal over noise from which on echoes were counted; NaN where too few echoes told it.
    results
        One for each shower that was active and that the path could see.
    fit
        The model, for its dispersion and the expected counts; ``None`` without such a shower.
    hours
        The hours with the counts above the limit.
    """

    limit_snr_db: float
    results: tuple[ShowerResult, ...]
    fit: ShowerFit | None
    hours: Hours


def study_showers(
    path: ChannelPath,
    rates: Sequence[Rate],
    echoes: Sequence[StoredEcho],
    limit_snr_db: float | None = None,
    calibration: float = 1.0,
) -> ShowerStudy:
    """Tell showers from the background in one channel.

    Parameters
    ----------
    path
        Of the channel.
    rates, echoes
        By the hour, and the echoes of the same span.
    limit_snr_db
        Peak signal over noise from which on the detector misses next to none; left out, as the echoes themselves tell
        it (:func:`skyglint.activity.mass_index.completeness_limit`).
    calibration
        True over modelled number of echoes on this path, where something has told it.
    """
    name = path.channel.name
    own = [stored for stored in echoes if stored.echo.channel == name and stored.meteoric]
    peaks_db = np.array([stored.echo.peak_snr_db for stored in own], dtype=np.float64)
    if limit_snr_db is None:
        limit_snr_db = float(20.0 * np.log10(completeness_limit(10.0 ** (peaks_db / 20.0))))
    hours = _above(hours_of(rates, name), own, peaks_db >= limit_snr_db)
    showers = [shower for shower in load_showers() if _sought(shower, hours)]
    if np.isnan(limit_snr_db) or not showers:
        return ShowerStudy(limit_snr_db, (), None, hours)
    active = np.column_stack([activity(shower, hours.solar_longitude_deg) for shower in showers])
    areas = np.zeros(active.shape)
    for i, shower in enumerate(showers):
        on = active[:, i] > 0
        areas[on, i] = mean_area_km2(path, shower, hours.where(on), limit_snr_db)
    seen = np.flatnonzero(areas.max(axis=0, initial=0.0) > 0)
    if not len(seen):
        return ShowerStudy(limit_snr_db, (), None, hours)
    showers, areas, responses = [showers[i] for i in seen], areas[:, seen], areas[:, seen] * active[:, seen]
    background = daily_courses(hours.solar_hour, bin_h=1.0, harmonics=2)
    codes = [shower.iau_code for shower in showers]
    fit = fit_showers(background, responses, codes, hours.counts, hours.exposure_h, hours.night)
    results = []
    for i, (shower, found) in enumerate(zip(showers, fit.showers, strict=True)):
        others = np.delete(responses, i, axis=1)
        rest = np.column_stack([background, others / np.maximum(others.max(axis=0, initial=0.0), 1e-300)])
        peak = _peak(shower, found, rest, areas[:, i], hours)
        strength, low, high = (float(value) for value in (found.strength, found.low_68, found.high_68))
        flux = flux_of(strength, low, high, shower, calibration)
        results.append(ShowerResult(name, shower, found, flux, peak, areas[:, i], responses[:, i]))
    return ShowerStudy(limit_snr_db, tuple(results), fit, hours)


def shower_area_km2(path: ChannelPath, shower: Shower, unix: Array, limit_snr_db: float) -> Array:
    """Return the counted area for a shower's drifting radiant at instants, shape (n,)."""
    right_ascension, declination = shower.radiant_deg(solar_longitude_deg(unix))
    geocentric = radiant_direction_ecef(right_ascension, declination, unix)
    apparent = apparent_direction_ecef(geocentric, shower.speed_km_s, *path.layer.center_deg)
    return counted_area_km2(path, apparent, shower.speed_km_s, shower.mass_index, limit_snr_db)


def mean_area_km2(path: ChannelPath, shower: Shower, hours: Hours, limit_snr_db: float) -> Array:
    """Return the counted area's mean over each hour, shape (n,): it may rise from nothing within one.

    Simpson's rule over start, middle and end.
    """
    end_unix = 2.0 * hours.middle_unix - hours.start_unix
    instants = np.stack([hours.start_unix, hours.middle_unix, end_unix])
    unix, place = np.unique(np.round(instants, 3), return_inverse=True)
    areas = shower_area_km2(path, shower, np.asarray(unix, dtype=np.float64), limit_snr_db)
    first, middle, last = areas[place.reshape(instants.shape)]
    return np.asarray((first + 4.0 * middle + last) / 6.0)


def activity(shower: Shower, solar_longitude_deg: Array) -> Array:
    """Return a shower's activity relative to its maximum, zero outside its window, shape (n,)."""
    return np.where(shower.is_active(solar_longitude_deg), shower.profile(solar_longitude_deg), 0.0)


def _peak(shower: Shower, found: Strength, rest: Array, area_km2: Array, hours: Hours) -> Peak | None:
    if shower.profile_assumed or not found.significance > _LEAST_SIGMAS:
        return None
    slopes = (shower.slope_before_per_deg, shower.slope_after_per_deg)
    spans = (area_km2, hours.solar_longitude_deg, hours.counts, hours.exposure_h, slopes)
    near = shower.peak_solar_longitude_deg
    own = area_km2 * activity(shower, hours.solar_longitude_deg)
    courses = np.column_stack([rest, own / max(float(own.max()), 1e-300)])
    return locate_peak(rest, *spans, near, peak_widening(courses, *spans, near, hours.night))


def _sought(shower: Shower, hours: Hours) -> bool:
    known = shower.zhr_max >= _LEAST_ZHR and not np.isnan(shower.speed_km_s + shower.mass_index)
    return bool(known and not shower.retired and np.any(shower.is_active(hours.solar_longitude_deg)))


def _above(hours: Hours, echoes: Sequence[StoredEcho], counted: NDArray[np.bool_]) -> Hours:
    """Return the hours with only the counted echoes."""
    starts = np.array([stored.echo.start_unix for stored in echoes], dtype=np.float64)[counted]
    edges = np.append(hours.start_unix, np.inf)
    index = np.searchsorted(edges, starts, side="right") - 1
    ends = np.append(2.0 * hours.middle_unix - hours.start_unix, -np.inf)
    index = index[(index >= 0) & (starts < ends[index])]
    return replace(hours, counts=np.bincount(index, minlength=len(hours.start_unix)).astype(np.float64))


def flux_of(strength: float, low: float, high: float, shower: Shower, calibration: float = 1.0) -> ShowerFlux:
    """Return a strength per km2 of counted area, with its 68 % limits, as the flux of a shower of the table."""
    return shower_flux(strength, low, high, FLUX_DENSITY_PER_M, shower.mass_index, shower.speed_km_s, calibration)
