"""A shower's course against solar longitude, and one strength from several channels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from skyglint.activity.flux import ShowerFlux
from skyglint.activity.poisson import ONE_SIGMA, poisson_limits
from skyglint.activity.shower_study import ShowerResult, ShowerStudy, flux_of

Array = NDArray[np.float64]

#: A span that collects less than this share of the best span's area and time says nothing.
_LEAST_SHARE = 0.05


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """One span of a shower's course.

    Attributes
    ----------
    longitude_deg
        Solar longitude (J2000) of the middle.
    echoes, background
        Counted above the limit in all channels, and what the model expects there without the shower.
    flux
        What is left over, as a flux and a visual rate, with 68 % limits of counting alone.
    """

    longitude_deg: float
    echoes: int
    background: float
    flux: ShowerFlux


@dataclass(frozen=True, slots=True)
class CombinedShower:
    """A shower as all channels tell it.

    Attributes
    ----------
    code
        The shower's IAU code.
    flux
        Mean of the channels' fluxes by their weights, and as a visual rate.
    significance, probability
        Standard deviations from no such shower, and the probability of such an excess without it.
    spread
        Root of chi-square over its degrees of freedom between the channels: 1 is agreement within the errors. The
        errors are widened by it where it is larger; NaN for a single channel.
    channels
        How many saw it.
    by_channel
        Each channel's own.
    """

    code: str
    flux: ShowerFlux
    significance: float
    probability: float
    spread: float
    channels: int
    by_channel: dict[str, ShowerResult]


def combine_showers(studies: dict[str, ShowerStudy], calibration: float = 1.0) -> list[CombinedShower]:
    """Return the showers of several channels, each as one; the most significant first.

    Parameters
    ----------
    studies
        By channel.
    calibration
        True over modelled number of echoes, which the studies were made with.

    Notes
    -----
    Means are weighted by the inverse squares of the half widths of the 68 % intervals, and errors widened where the
    channels disagree (the scale factor of the Particle Data Group, Review of Particle Physics, Introduction,
    "Unconstrained averaging"); significances by Stouffer's method with the weights' roots (Liptak 1958). A meteor that
    shows in two channels counts in both, which is not allowed for.
    """
    found: dict[str, dict[str, ShowerResult]] = {}
    for channel, study in studies.items():
        for result in study.results:
            found.setdefault(result.shower.iau_code, {})[channel] = result
    combined = [_combine(code, results, calibration) for code, results in found.items()]
    return sorted(combined, key=lambda shower: -shower.significance)


def _combine(code: str, results: dict[str, ShowerResult], calibration: float) -> CombinedShower:
    strengths = [result.strength for result in results.values()]
    value = np.array([float(s.strength) for s in strengths])
    sd = np.array([float(s.high_68 - s.low_68) / 2.0 for s in strengths])
    sigmas = np.array([float(s.significance) for s in strengths])
    good = np.isfinite(value + sd + sigmas) & (sd > 0)
    shower = next(iter(results.values())).shower
    if not good.any():
        nothing = flux_of(np.nan, np.nan, np.nan, shower, calibration)
        return CombinedShower(code, nothing, np.nan, np.nan, np.nan, 0, results)
    value, sd, sigmas = value[good], sd[good], sigmas[good]
    weight = sd**-2.0
    mean, error = float(np.average(value, weights=weight)), float(weight.sum() ** -0.5)
    freedom = len(value) - 1
    spread = float(np.sqrt(np.sum(weight * (value - mean) ** 2) / freedom)) if freedom else np.nan
    error *= max(spread, 1.0) if freedom else 1.0
    significance = float(np.sum(sigmas / sd) / np.sqrt(weight.sum()))
    flux = flux_of(mean, mean - error, mean + error, shower, calibration)
    return CombinedShower(code, flux, significance, float(special.ndtr(-significance)), spread, len(value), results)


def shower_curve(
    studies: Sequence[ShowerStudy], code: str, edges_deg: ArrayLike, calibration: float = 1.0
) -> list[CurvePoint]:
    """Return a shower's course from all channels together.

    Parameters
    ----------
    studies
        Of the channels; those that do not have the shower are left out.
    code
        The shower's IAU code.
    edges_deg
        ``n + 1`` rising edges of solar longitude; they may pass 360.
    calibration
        As in :func:`combine_showers`.

    Notes
    -----
    In each span the background that the whole season's fit expects is taken off the counts, and the rest is divided by
    the time and counted area of the span. Limits are those of the counts (Garwood 1936); the background's own error is
    left out, which is small beside them. Spans in which the radiant could hardly be seen have no point.
    """
    edges = np.asarray(edges_deg, dtype=np.float64)
    counted, background, collected = np.zeros((3, len(edges) - 1))
    shower = None
    for study in studies:
        result = next((found for found in study.results if found.shower.iau_code == code), None)
        if result is None or study.fit is None:
            continue
        shower, hours = result.shower, study.hours
        own = hours.exposure_h * result.response_km2
        index, inside = _bins(hours.solar_longitude_deg, edges)
        for total, values in (
            (counted, hours.counts),
            (background, study.fit.expected - float(result.strength.strength) * own),
            (collected, hours.exposure_h * result.area_km2),
        ):
            total += np.bincount(index[inside], values[inside], len(edges) - 1)
    if shower is None:
        return []
    low, high = poisson_limits(counted, ONE_SIGMA)
    middle = (edges[:-1] + edges[1:]) / 2.0 % 360.0
    points = []
    for k in np.flatnonzero(collected > _LEAST_SHARE * collected.max(initial=0.0)):
        best, least, most = (float(n - background[k]) / collected[k] for n in (counted[k], low[k], high[k]))
        flux = flux_of(best, least, most, shower, calibration)
        points.append(CurvePoint(float(middle[k]), int(counted[k]), float(background[k]), flux))
    return points


def _bins(longitude_deg: Array, edges: Array) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """Return each longitude's span and whether it lies in one."""
    turned = edges[0] + (longitude_deg - edges[0]) % 360.0
    index = np.searchsorted(edges, turned, side="right") - 1
    return index, (index >= 0) & (index < len(edges) - 1)
