"""Free space (ITU-R P.525)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from skyglint.path.constants import DIPOLE_GAIN_DBI, FloatArray
from skyglint.path.geometry import wavelength_m


def free_space_loss_db(distance_m: ArrayLike, frequency_hz: ArrayLike) -> FloatArray:
    """Return the loss between isotropic antennas in free space, 20 log10(4 pi d / lambda) (ITU-R P.525).

    Examples
    --------
    >>> float(free_space_loss_db(100e3, 100e6).round(3))
    112.448
    """
    return np.asarray(20 * np.log10(4 * np.pi * np.asarray(distance_m) / wavelength_m(frequency_hz)))


def eirp_w(erp_w: ArrayLike) -> FloatArray:
    """Return the equivalent isotropically radiated power of a power stated over a half-wave dipole (2.15 dB)."""
    return np.asarray(np.asarray(erp_w, dtype=np.float64) * 10 ** (DIPOLE_GAIN_DBI / 10))
