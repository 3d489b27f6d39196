"""A shower's course against solar longitude, and one strength from several channels."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from skyglint.activity.flux import ShowerFlux
from skyglint.activity.poisson import ONE_SIGMA, poisson_limits
from skyglint.activity.shared_nights import shared_variance
from skyglint.activity.shower_study import ShowerResult, ShowerStudy, flux_of
from skyglint.activity.strengths import Peak
from skyglint.sky.showers import Shower

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
    results
        Each channel's own; of several months, each month's.
    """

    code: str
    flux: ShowerFlux
    significance: float
    probability: float
    spread: float
    results: tuple[ShowerResult, ...]

    @property
    def shower(self) -> Shower:
        """The shower's row of the table."""
        return self.results[0].shower

    @property
    def channels(self) -> int:
        """How many channels could see it."""
        return len({result.channel for result in self.results})

    @property
    def peak(self) -> Peak | None:
        """The maximum as the channel has it that could see most of the shower; ``None`` where none tells it."""
        told = [result for result in self.results if result.peak is not None and np.isfinite(result.peak.longitude_deg)]
        best = max(told, key=lambda result: float(result.response_km2.sum()), default=None)
        return None if best is None else best.peak


def combine_showers(studies: Iterable[ShowerStudy], calibration: float = 1.0) -> list[CombinedShower]:
    """Return the showers of several channels, or months, each as one; the most significant first.

    Parameters
    ----------
    studies
        One a channel and month.
    calibration
        True over modelled number of echoes, which the studies were made with.

    Notes
    -----
    Means are weighted by the inverse squares of the half widths of the 68 % intervals, and errors widened where the
    channels disagree (the scale factor of the Particle Data Group, Review of Particle Physics, Introduction,
    "Unconstrained averaging") and for nights that are good or bad in all of them
    (:mod:`skyglint.activity.shared_nights`); significances by Stouffer's method with the weights' roots (Liptak 1958).
    A meteor that shows in two channels counts in both, which is not allowed for.
    """
    found: dict[str, list[tuple[ShowerStudy, ShowerResult]]] = {}
    for study in studies:
        for result in study.results:
            found.setdefault(result.shower.iau_code, []).append((study, result))
    combined = [_combine(code, told, calibration) for code, told in found.items()]
    return sorted(combined, key=lambda shower: -shower.significance)


def _combine(code: str, told: list[tuple[ShowerStudy, ShowerResult]], calibration: float) -> CombinedShower:
    results = tuple(result for _, result in told)
    value = np.array([float(result.strength.strength) for result in results])
    sd = np.array([float(result.strength.high_68 - result.strength.low_68) / 2.0 for result in results])
    sigmas = np.array([float(result.strength.significance) for result in results])
    good = np.isfinite(value + sd + sigmas) & (sd > 0)
    shower = results[0].shower
    if not good.any():
        nothing = flux_of(np.nan, np.nan, np.nan, shower, calibration)
        return CombinedShower(code, nothing, np.nan, np.nan, np.nan, results)
    value, sd, sigmas = value[good], sd[good], sigmas[good]
    weight = sd**-2.0
    mean, apart = float(np.average(value, weights=weight)), float(1.0 / weight.sum())
    used = np.flatnonzero(good).tolist()
    influences = [results[i].strength.influence for i in used]
    shared = shared_variance([told[i][0] for i in used], influences, weight * apart)
    freedom = len(value) - 1
    spread = float(np.sqrt(np.sum(weight * (value - mean) ** 2) / freedom)) if freedom else np.nan
    error = float(np.sqrt(apart * (max(spread, 1.0) ** 2 if freedom else 1.0) + shared))
    significance = float(np.sum(sigmas / sd) * apart / np.sqrt(apart + shared))
    flux = flux_of(mean, mean - error, mean + error, shower, calibration)
    return CombinedShower(code, flux, significance, float(special.ndtr(-significance)), spread, results)


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
