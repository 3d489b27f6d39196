"""A rough order of all transmitters, cheap enough for tens of thousands."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from skyglint.plan.candidate import QUIET
from skyglint.plan.cleanliness import binned
from skyglint.plan.ground import Ground, rates_per_h
from skyglint.plan.sharing import COUNT_POWER, MEAN_GROUND_DB
from skyglint.site import DEFAULT_BANDWIDTH_HZ


def rough_order(ground: Ground) -> NDArray[np.intp]:
    """Return the indices of the candidates within the radius, by a score that is cheap for all of them."""
    around, antenna = ground.survey, ground.site.antenna
    everyone = np.arange(around.frequency_hz.size)
    if everyone.size == 0:
        return everyone
    width = np.where(around.is_fm, DEFAULT_BANDWIDTH_HZ["fm"], DEFAULT_BANDWIDTH_HZ["carrier"])
    direct = 10 ** (around.direct_dbm[0] / 10 - 3)
    floor = ground.noise_w_hz + (direct + binned(around, direct, 1.0)) / width * around.is_fm
    own = rates_per_h(ground, everyone, np.full(everyone.size, antenna.gain_dbi + MEAN_GROUND_DB), floor)
    others = rates_per_h(ground, everyone, np.full(everyone.size, MEAN_GROUND_DB), floor)
    share = own / np.maximum(own + binned(around, others, COUNT_POWER), 1e-12)
    noise_dbm = 10 * np.log10(ground.noise_w_hz * width) + 30
    median = around.direct_dbm[0] - noise_dbm + antenna.gain_dbi
    quiet = np.where(median >= 0, QUIET["heard"], 1.0)
    within = around.distance_m <= ground.settings.radius_km * 1e3
    score = np.where(within, own * share * quiet, -1.0)
    order = np.argsort(-score, kind="stable")
    return np.asarray(order[: int(within.sum())])
