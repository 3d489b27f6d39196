"""Who else is in a candidate's channel: the floor that direct signals raise, and its share of the echoes."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from skyglint.path.antenna import angle_between_deg, beam_gain_dbi
from skyglint.path.constants import FloatArray
from skyglint.plan.aiming import Aim, horizon_gain_dbi
from skyglint.plan.cleanliness import Neighbour, leak_db
from skyglint.plan.ground import Ground, rates_per_h, table_key
from skyglint.site import DEFAULT_BANDWIDTH_HZ, Antenna
from skyglint.transmitters.protection import asked_db
from skyglint.transmitters.raster import RASTERS

#: How counts go with received power between underdense (1/2) and overdense trails (1), for neighbours.
COUNT_POWER: Final = 0.75

#: Ground reflection and beam together, averaged over the sky, against the antenna's stated gain (working assumption).
MEAN_GROUND_DB: Final = 2.0

_NEIGHBOURS_NAMED: Final = 5


def floor_w_hz(ground: Ground, index: int, near: NDArray[np.intp], aim: Aim) -> float:
    """Return what stands beside the echoes in a channel: noise, and in an FM channel the median direct signals."""
    around = ground.survey
    one = around.transmitters[index]
    if one.kind == "carrier":
        return float(ground.noise_w_hz[index])
    gain = horizon_gain_dbi(ground.site.antenna, aim, around.azimuth_deg[near])
    level_dbm = around.direct_dbm[0, near] + gain + leak_db(around.frequency_hz[near] - one.frequency_hz)
    return float(ground.noise_w_hz[index] + np.sum(10 ** (level_dbm / 10 - 3)) / DEFAULT_BANDWIDTH_HZ["fm"])


def sharing(ground: Ground, index: int, near: NDArray[np.intp], aim: Aim) -> tuple[float, tuple[Neighbour, ...]]:
    """Return the candidate's share of the echoes on its frequency, and the neighbours that matter most."""
    around, antenna = ground.survey, ground.site.antenna
    table = ground.reaches[table_key(bool(around.is_fm[index]), float(around.frequency_hz[index]))]
    elevation = table.elevation_at(around.distance_m[near], around.azimuth_deg[near])
    gain = _towards_echoes_dbi(antenna, aim, around.azimuth_deg[near], elevation)
    rates = rates_per_h(ground, near, gain, ground.noise_w_hz[near])
    spacing = around.frequency_hz[near] - around.frequency_hz[index]
    leak = leak_db(spacing) if around.is_fm[index] else np.zeros(near.size)
    rates = rates * 10 ** (COUNT_POWER * leak / 10)
    own = near == index
    share = float(rates[own].sum() / max(rates.sum(), 1e-12))
    noise_dbm = 10 * np.log10(ground.noise_w_hz[near] * DEFAULT_BANDWIDTH_HZ["fm"]) + 30
    direct = around.direct_dbm[0, near] + horizon_gain_dbi(antenna, aim, around.azimuth_deg[near]) + leak - noise_dbm
    weight = rates + np.maximum(direct, 0.0) * rates.max(initial=0.0)
    ranked = [k for k in np.argsort(-weight, kind="stable") if not own[k]][:_NEIGHBOURS_NAMED]
    return share, tuple(
        Neighbour(
            name=around.transmitters[near[k]].name,
            offset_hz=float(spacing[k]),
            distance_km=float(around.distance_m[near[k]]) / 1e3,
            bearing_deg=float(around.azimuth_deg[near[k]]),
            direct_snr_db=float(direct[k]),
            asked_db=asked_db(float(spacing[k]), american=ground.raster == RASTERS["americas"]),
            echoes_per_h=float(rates[k]),
        )
        for k in ranked
    )


def _towards_echoes_dbi(antenna: Antenna, aim: Aim, azimuth_deg: FloatArray, elevation_deg: FloatArray) -> FloatArray:
    off = angle_between_deg(azimuth_deg, elevation_deg, aim.azimuth_deg, aim.elevation_deg)
    return beam_gain_dbi(off, antenna.gain_dbi, antenna.beamwidth_deg) + MEAN_GROUND_DB
