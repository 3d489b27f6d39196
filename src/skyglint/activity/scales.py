"""Rates of several channels on one scale: how many echoes each gets for one of a reference channel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

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


def _over(above: Array, below: Array) -> Array:
    return np.asarray(np.where(below > 0, above / np.where(below > 0, below, 1.0), 0.0))
