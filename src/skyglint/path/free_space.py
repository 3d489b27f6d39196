"""Free space: loss, field strength and received power (ITU-R P.525)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from skyglint.path.constants import DIPOLE_GAIN_DBI, FloatArray
from skyglint.path.geometry import wavelength_m

#: Field at 1 km of 1 kW from a half-wave dipole in free space, dB(uV/m); ITU-R P.1546 rounds it to 106.9.
_FIELD_1KW_1KM_DB = 106.92
#: Received power of an isotropic antenna in a field of 1 uV/m at 1 MHz, dBm: lambda^2 / (4 pi) E^2 / (120 pi).
_ISOTROPIC_1UV_1MHZ_DBM = -77.216


def free_space_loss_db(distance_m: ArrayLike, frequency_hz: ArrayLike) -> FloatArray:
    """Return the loss between isotropic antennas in free space, 20 log10(4 pi d / lambda) (ITU-R P.525).

    Examples
    --------
    >>> float(free_space_loss_db(100e3, 100e6).round(3))
    112.448
    """
    return np.asarray(20 * np.log10(4 * np.pi * np.asarray(distance_m) / wavelength_m(frequency_hz)))


def field_from_power_dbuv_m(erp_w: ArrayLike, distance_m: ArrayLike) -> FloatArray:
    """Return the field in free space of a power radiated over a half-wave dipole (ITU-R P.525, P.1546 sec. 2)."""
    kilometres = np.asarray(distance_m, dtype=np.float64) / 1e3
    return np.asarray(_FIELD_1KW_1KM_DB + 10 * np.log10(np.asarray(erp_w) / 1e3) - 20 * np.log10(kilometres))


def power_from_field_dbm(field_dbuv_m: ArrayLike, frequency_hz: ArrayLike) -> FloatArray:
    """Return the power that an isotropic antenna takes from a field (ITU-R P.525)."""
    megahertz = np.asarray(frequency_hz, dtype=np.float64) / 1e6
    return np.asarray(np.asarray(field_dbuv_m) - 20 * np.log10(megahertz) + _ISOTROPIC_1UV_1MHZ_DBM)


def eirp_w(erp_w: ArrayLike) -> FloatArray:
    """Return the equivalent isotropically radiated power of a power stated over a half-wave dipole (2.15 dB)."""
    return np.asarray(np.asarray(erp_w, dtype=np.float64) * 10 ** (DIPOLE_GAIN_DBI / 10))
