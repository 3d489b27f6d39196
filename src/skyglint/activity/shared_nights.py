"""Nights that are good or bad for several channels at once, and what that does to a mean over the channels."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.scatter import night_numbers
from skyglint.activity.shower_study import ShowerStudy

Array = NDArray[np.float64]


def shared_variance(studies: Sequence[ShowerStudy], influences: Sequence[Array], weights: Array) -> float:
    """Return the variance that shared nights add to a weighted mean of the channels' strengths.

    Parameters
    ----------
    studies
        One a channel, all with a fit.
    influences
        Change of each channel's strength by hour, as :class:`skyglint.activity.strengths.Strength` has it.
    weights
        Of the channels, with the sum one.

    Notes
    -----
    The levels of two channels' nights about their fits have a mean product that is the variance of what they share
    (moments), less what each fit follows of a night. Only the products of different channels are added: each channel's
    own part is in its own error already.
    """
    middle = np.concatenate([study.hours.middle_unix for study in studies])
    solar_hour = np.concatenate([study.hours.solar_hour for study in studies])
    _, night = np.unique(night_numbers(middle, solar_hour), return_inverse=True)
    ends = np.cumsum([len(study.hours.middle_unix) for study in studies])
    parts = np.split(night, ends[:-1])
    n = int(night.max(initial=-1)) + 1
    fits = [study.fit for study in studies if study.fit is not None]
    seen = np.stack([np.bincount(part, s.hours.counts, n) for part, s in zip(parts, studies, strict=True)])
    model = np.stack([np.bincount(part, fit.expected, n) for part, fit in zip(parts, fits, strict=True)])
    held = np.stack([np.bincount(part, fit.expected * fit.followed, n) for part, fit in zip(parts, fits, strict=True)])
    moved = np.stack([np.bincount(part, value, n) for part, value in zip(parts, influences, strict=True)])
    safe = np.where(model > 0, model, 1.0)
    level, free = np.where(model > 0, seen / safe - 1.0, 0.0), np.where(model > 0, 1.0 - held / safe, 0.0)
    products = weight = cross = 0.0
    for i, j in combinations(range(len(studies)), 2):
        size = np.sqrt(model[i] * model[j]) * free[i] * free[j]
        products += float(size @ (level[i] * level[j]))
        weight += float(size @ (free[i] * free[j]))
        cross += 2.0 * float(weights[i] * weights[j] * (moved[i] @ moved[j]))
    return max(products / weight, 0.0) * max(cross, 0.0) if weight > 0 else 0.0
