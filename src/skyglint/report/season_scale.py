"""Rates of all target channels added up on the scale of one of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.poisson import rates_per_h
from skyglint.activity.rates import Rate
from skyglint.activity.scales import Scales, channel_scales
from skyglint.report.season import Scaled

Array = NDArray[np.float64]


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
    reference = int(np.argmax(counts.sum(axis=1)))
    order = np.array([reference, *(i for i in range(len(counts)) if i != reference)])
    scales = channel_scales(counts[order], hours[order])
    back = np.argsort(order)
    told = (scales.factor[back], scales.factor_low[back], scales.factor_high[back])
    return reference, Scales(*told, scales.rate_per_h, scales.rate_sd_per_h)


def scaled(counts: Array, hours: Array, factors: Array) -> Scaled:
    """Add up channels whose sensitivity is known; arrays of shape (channels, bins)."""
    known = np.isfinite(factors) & (factors > 0)
    echoes = counts[known].sum(axis=0)
    exposure = factors[known] @ hours[known]
    return Scaled(echoes, exposure, *rates_per_h(echoes, 3600.0 * exposure))


def gathered(part: Scaled, index: NDArray[np.intp], n: int) -> Scaled:
    """Add up bins into ``n`` groups by their index."""
    echoes, exposure = (np.bincount(index, values, n).astype(np.float64) for values in (part.echoes, part.exposure_h))
    return Scaled(echoes, exposure, *rates_per_h(echoes, 3600.0 * exposure))
