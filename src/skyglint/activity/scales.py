"""Rates of several channels on one scale, each by itself and all together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from skyglint.activity.poisson import rates_per_h
from skyglint.activity.rates import Rate

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Scales:
    """Sensitivities of channels relative to the first.

    Attributes
    ----------
    factor, factor_low, factor_high
        Rate over the first channel's, shape (c,), with 68 % limits; NaN for a channel that shared no watched time.
    rate_per_h, rate_sd_per_h
        Common course on the scale of the first channel, shape (t,); NaN where nothing was watched.
    """

    factor: Array
    factor_low: Array
    factor_high: Array
    rate_per_h: Array
    rate_sd_per_h: Array


@dataclass(frozen=True, slots=True)
class Scaled:
    """All target channels together on the scale of their mean, in spans of time; all shapes (n,).

    Attributes
    ----------
    echoes
        Sum over the channels.
    exposure_h
        Live hours that a channel of mean sensitivity would have needed for as many echoes.
    rate_per_h, low_per_h, high_per_h
        Rate of such a channel, and its central Poisson limits; NaN where no channel was live.
    """

    echoes: Array
    exposure_h: Array
    rate_per_h: Array
    low_per_h: Array
    high_per_h: Array


def channel_scales(counts: ArrayLike, exposure_h: ArrayLike) -> Scales:
    """Fit counts = exposure x factor of the channel x common rate of the span, by maximum likelihood.

    ``counts`` and ``exposure_h`` have shape (channels, spans). The two sets of factors are found in turn until they
    stay (iterative proportional fitting, Deming & Stephan 1940); errors of the factors come from the information with
    the common course left free. Channels see different parts of the sky, so the factors hold for the mean course only.
    """
    n, time = np.asarray(counts, dtype=np.float64), np.asarray(exposure_h, dtype=np.float64)
    n = np.where(time > 0, n, 0.0)
    factor = np.ones(len(n))
    rate = np.zeros(n.shape[1])
    for _ in range(500):
        rate = _over(n.sum(axis=0), factor @ time)
        new = _over(n.sum(axis=1), time @ rate)
        new = _over(new, np.full(len(n), new[0]))
        done = np.allclose(new, factor, rtol=1e-10, atol=0)
        factor = new
        if done:
            break
    expected = time * factor[:, None] * rate
    share = expected / np.where(expected.sum(axis=0) > 0, expected.sum(axis=0), 1.0)
    information = np.diag(expected.sum(axis=1)) - share @ expected.T
    log_sd = np.full(len(n), np.nan)
    log_sd[0] = 0.0
    known = np.flatnonzero((factor > 0) & (np.diag(information) > 1e-12))
    known = known[known > 0]
    if factor[0] > 0 and len(known):
        log_sd[known] = np.sqrt(np.diag(np.linalg.pinv(information[np.ix_(known, known)])))
    told = np.where(np.isnan(log_sd), np.nan, factor)
    weight = factor @ time
    return Scales(
        told,
        told * np.exp(-log_sd),
        told * np.exp(log_sd),
        np.where(weight > 0, rate, np.nan),
        np.where(weight > 0, np.sqrt(rate / np.where(weight > 0, weight, 1.0)), np.nan),
    )


def tables(rows: Sequence[Rate], channels: Sequence[str], starts: Array) -> tuple[Array, Array]:
    """Return counts and live hours of channels in bins, shapes (channels, bins); bins without a row are empty.

    Bins are told apart by the second: their starts may come from sums of different roundings.
    """
    place = {round(start): k for k, start in enumerate(starts.tolist())}
    line = {name: i for i, name in enumerate(channels)}
    counts, hours = np.zeros((2, len(channels), len(starts)))
    for row in rows:
        if row.channel in line and round(row.start_unix) in place:
            at = line[row.channel], place[round(row.start_unix)]
            counts[at] = row.echoes
            hours[at] = max(row.coverage_s - row.busy_s, 0.0) / 3600.0
    counts[hours <= 0.0] = 0.0
    return counts, hours


def scales_of(counts: Array, hours: Array) -> tuple[int, Scales]:
    """Return the reference channel, which is the one with the most echoes, and all sensitivities relative to it.

    The sensitivities stand in the order of the channels given.
    """
    reference = int(np.argmax(counts.sum(axis=1))) if len(counts) else 0
    order = np.array([reference, *(i for i in range(len(counts)) if i != reference)])
    scales = channel_scales(counts[order], hours[order])
    back = np.argsort(order)
    told = (scales.factor[back], scales.factor_low[back], scales.factor_high[back])
    return reference, Scales(*told, scales.rate_per_h, scales.rate_sd_per_h)


def scaled(counts: Array, hours: Array, factors: Array) -> Scaled:
    """Add up channels whose sensitivity is known; arrays of shape (channels, bins).

    The scale is that of a channel of mean sensitivity: on the scale of a single one, all rates would share the error of
    that one's own count.
    """
    known = np.isfinite(factors) & (factors > 0)
    echoes = counts[known].sum(axis=0)
    share = factors[known] / (factors[known].mean() if known.any() else 1.0)
    exposure = share @ hours[known]
    return Scaled(echoes, exposure, *rates_per_h(echoes, 3600.0 * exposure))


def gathered(part: Scaled, index: NDArray[np.intp], n: int) -> Scaled:
    """Add up bins into ``n`` groups by their index."""
    echoes, exposure = (np.bincount(index, values, n).astype(np.float64) for values in (part.echoes, part.exposure_h))
    return Scaled(echoes, exposure, *rates_per_h(echoes, 3600.0 * exposure))


def _over(above: Array, below: Array) -> Array:
    return np.asarray(np.where(below > 0, above / np.where(below > 0, below, 1.0), 0.0))
