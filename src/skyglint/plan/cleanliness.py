"""How clean a frequency is here: who else is on it and beside it, how loud, and whose echoes those would be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from skyglint.path.constants import FloatArray
from skyglint.plan.survey import Survey

#: What a channel 200 kHz wide takes of a station beside it, by the distance of their carriers: half of it at 100 kHz
#: (geometry), then 10 dB less than what 47 CFR 73.317 lets it spill (25 dB down from 120 kHz, 35 dB from 240 kHz: a
#: working assumption, since 99 % of a programme's power lies within some 116 kHz), and last a receiver's own range
#: (common practice for 8-bit receivers: some 50 dB).
_SPACING_HZ: Final = np.array([0.0, 50e3, 100e3, 150e3, 200e3, 300e3, 400e3])
_LEAK_DB: Final = np.array([0.0, -0.5, -3.0, -15.0, -35.0, -45.0, -50.0])

#: How many channels to either side are looked at.
NEIGHBOURS: Final = 3


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Another transmitter on a candidate's frequency or beside it.

    Attributes
    ----------
    name, offset_hz, distance_km, bearing_deg
        Who, how far in frequency, where.
    direct_snr_db
        Its median direct level over noise, as much of it as falls into the candidate's channel.
    asked_db
        By how much a wanted signal should exceed it for undisturbed listening, by the published protection ratios: a
        guide only, NaN beyond their spacings.
    echoes_per_h
        Its expected echoes there.
    """

    name: str
    offset_hz: float
    distance_km: float
    bearing_deg: float
    direct_snr_db: float
    asked_db: float
    echoes_per_h: float


def leak_db(spacing_hz: ArrayLike) -> FloatArray:
    """Return what a 200 kHz channel takes of a station this far away in frequency, dB relative to its whole power."""
    return np.asarray(np.interp(np.abs(np.asarray(spacing_hz, dtype=np.float64)), _SPACING_HZ, _LEAK_DB))


def beside(survey: Survey, frequency_hz: float, step_hz: float, *, fm: bool, width_hz: float) -> NDArray[np.intp]:
    """Return the indices of the transmitters on a frequency and on three channels to either side.

    For a carrier only what falls into its narrow channel counts.
    """
    reach = NEIGHBOURS * step_hz + 1e3 if fm else width_hz / 2
    near = np.abs(survey.frequency_hz - frequency_hz) <= reach
    return np.flatnonzero(near & (survey.is_fm == fm) if fm else near)


def binned(survey: Survey, values: FloatArray, power: float) -> FloatArray:
    """Return, for every transmitter, the sum of a value over the others on and beside its frequency.

    Parameters
    ----------
    values
        One for each transmitter, such as a power.
    power
        How the value goes with received power: 1 for powers, less for counts.
    """
    spacing = 50e3
    place = np.round((survey.frequency_hz - survey.frequency_hz.min()) / spacing).astype(np.intp)
    if place.size == 0:
        return np.zeros(0)
    shifts = np.arange(-12, 13)
    sums = np.zeros(place.max() + 25)
    for shift in shifts:
        leak = 10 ** (power * float(leak_db(shift * spacing)) / 10)
        np.add.at(sums, place + shift + 12, values * leak)
    return np.asarray(sums[place + 12] - values)
