"""Where to point: the aim that collects most echoes, what an aim loses, how high the antenna should stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skyglint.path.antenna import angle_between_deg, beam_gain_dbi, gain_over_ground_dbi
from skyglint.path.constants import FloatArray
from skyglint.path.diffuse import SiteLayer
from skyglint.plan.expected import EchoField, mean_rate_by_cell
from skyglint.site import Antenna

#: Gains at which a cell's rate is tabulated, dB; counts between them are interpolated in logarithms.
_NODES_DB: Final = np.array([-30.0, -10.0, 0.0, 10.0, 20.0])

#: Heights of the antenna above ground that are worth a look: what stands on a mast that one person can put up.
HEIGHTS_M: Final = np.arange(0.5, 6.01, 0.25)

#: Counts this near to the best are as good (the model is no better). Of such heights the lowest is the easiest to
#: build; of such elevations the highest takes least of direct signals and of the neighbourhood.
_AS_GOOD: Final = 0.95


@dataclass(frozen=True, slots=True)
class Aim:
    """A direction in the sky: azimuth from true north, elevation above the horizontal."""

    azimuth_deg: float
    elevation_deg: float


@dataclass(frozen=True, slots=True)
class RateByGain:
    """Echoes per hour of each cell of a path against the receiving gain there.

    Attributes
    ----------
    cell
        Indices into the site's layer, shape (n,).
    log_rate
        Natural logarithms at the tabulated gains, shape (n, nodes).
    """

    cell: NDArray[np.intp]
    log_rate: FloatArray

    def at(self, gain_dbi: FloatArray) -> FloatArray:
        """Return the rates of the cells, shape (..., n), for gains over the whole layer, shape (..., cells)."""
        gain = np.clip(gain_dbi[..., self.cell], _NODES_DB[0], _NODES_DB[-1])
        low = np.clip(np.searchsorted(_NODES_DB, gain, side="right") - 1, 0, _NODES_DB.size - 2)
        share = (gain - _NODES_DB[low]) / (_NODES_DB[low + 1] - _NODES_DB[low])
        rows = np.arange(self.cell.size)
        return np.asarray(np.exp(self.log_rate[rows, low] * (1 - share) + self.log_rate[rows, low + 1] * share))

    def total(self, gain_dbi: FloatArray) -> FloatArray:
        """Return the rates summed over the cells, shape (...)."""
        return np.asarray(self.at(gain_dbi).sum(axis=-1))


def rate_by_gain(field: EchoField) -> RateByGain:
    """Tabulate a path's rates."""
    rates = [mean_rate_by_cell(field, np.full(field.found.cell.size, 10 ** (node / 10))) for node in _NODES_DB]
    return RateByGain(field.found.cell, np.log(np.maximum(np.stack(rates, axis=-1), 1e-12)))


def layer_gain_dbi(layer: SiteLayer, antenna: Antenna, frequency_hz: float, aim: Aim) -> FloatArray:
    """Return the antenna's gain, ground included, towards every cell of the layer."""
    return gain_over_ground_dbi(
        layer.azimuth_deg,
        layer.elevation_deg,
        frequency_hz,
        aim_azimuth_deg=aim.azimuth_deg,
        aim_elevation_deg=aim.elevation_deg,
        gain_dbi=antenna.gain_dbi,
        beamwidth_deg=antenna.beamwidth_deg,
        height_above_ground_m=antenna.height_above_ground_m,
        polarization=antenna.polarization,
    )


def horizon_gain_dbi(antenna: Antenna, aim: Aim, azimuth_deg: FloatArray | float) -> FloatArray:
    """Return the antenna's own gain along the horizon; what the ground does there is in the diffraction loss."""
    off = angle_between_deg(azimuth_deg, 0.0, aim.azimuth_deg, aim.elevation_deg)
    return beam_gain_dbi(off, antenna.gain_dbi, antenna.beamwidth_deg)


def best_aim(
    paths: Sequence[RateByGain],
    layer: SiteLayer,
    antenna: Antenna,
    frequency_hz: float,
    bearings_deg: Sequence[float],
) -> Aim:
    """Return the aim that collects most echoes of one path, or the best compromise for several.

    Several paths count alike: each as the part that it keeps of what the best aim found for it would give. From the
    best aim the antenna is tilted further up as long as 95 % of that are kept: counts depend little on the tilt, and
    the higher it looks the less it takes of direct signals and of the neighbourhood.
    """
    azimuths = sorted({round(b + offset) % 360 for b in bearings_deg for offset in range(-60, 61, 15)})
    coarse = [Aim(float(a), float(e)) for a in azimuths for e in range(0, 76, 15)]
    top = _best_of(coarse, paths, layer, antenna, frequency_hz)
    for step in (6, 2):
        near = [
            Aim((top.azimuth_deg + a) % 360, min(max(top.elevation_deg + e, 0.0), 90.0))
            for a in (-step, 0, step)
            for e in (-step, 0, step)
        ]
        top = _best_of([*near, top], paths, layer, antenna, frequency_hz)
    tilted = [Aim(top.azimuth_deg, float(e)) for e in range(int(top.elevation_deg), 91, 2)]
    merit = _merit(tilted, paths, layer, antenna, frequency_hz)
    enough = np.append(merit >= _AS_GOOD * merit[0], False)
    return tilted[int(np.argmin(enough)) - 1]


def _best_of(
    aims: Sequence[Aim], paths: Sequence[RateByGain], layer: SiteLayer, antenna: Antenna, frequency_hz: float
) -> Aim:
    return aims[int(np.argmax(_merit(aims, paths, layer, antenna, frequency_hz)))]


def _merit(
    aims: Sequence[Aim], paths: Sequence[RateByGain], layer: SiteLayer, antenna: Antenna, frequency_hz: float
) -> FloatArray:
    gains = np.stack([layer_gain_dbi(layer, antenna, frequency_hz, aim) for aim in aims])
    totals = np.stack([path.total(gains) for path in paths])
    return np.asarray(np.sum(totals / np.maximum(totals.max(axis=1, keepdims=True), 1e-12), axis=0))


def best_height_m(
    paths: Sequence[RateByGain], layer: SiteLayer, antenna: Antenna, frequency_hz: float, aim: Aim
) -> tuple[float, FloatArray]:
    """Return the best height above ground at an aim, and the part of its echoes that each of ``HEIGHTS_M`` collects."""
    merit = np.zeros(HEIGHTS_M.size)
    for k, height in enumerate(HEIGHTS_M):
        raised = antenna.model_copy(update={"height_above_ground_m": float(height)})
        gain = layer_gain_dbi(layer, raised, frequency_hz, aim)
        merit[k] = sum(float(path.total(gain)) for path in paths)
    merit /= max(float(merit.max()), 1e-12)
    return float(HEIGHTS_M[int(np.flatnonzero(merit >= _AS_GOOD)[0])]), merit


def mean_gain_dbi(path: RateByGain, gain_dbi: FloatArray) -> float:
    """Return the gain over the part of the layer that counts: the mean, weighted by the echoes at 0 dBi."""
    weights = path.at(np.zeros_like(gain_dbi))
    if weights.sum() <= 0:
        return float("nan")
    return float(10 * np.log10(np.average(10 ** (gain_dbi[path.cell] / 10), weights=weights)))


def flattened(aim: Aim) -> Aim:
    """Return the same bearing with the elevation left at 0."""
    return replace(aim, elevation_deg=0.0)
