"""External radio noise: the galaxy and mankind (ITU-R P.372-16)."""

from __future__ import annotations

from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from skyglint.path.constants import BOLTZMANN_J_K, REFERENCE_TEMPERATURE_K, FloatArray

Environment = Literal["city", "residential", "rural", "quiet rural"]

#: c and d of F = c - d log10 f(MHz), ITU-R P.372-16 Part 6; surveys of the 1970s, today either side by 5 to 10 dB.
MAN_MADE: Final[dict[Environment, tuple[float, float]]] = {
    "city": (76.8, 27.7),
    "residential": (72.5, 27.7),
    "rural": (67.2, 27.7),
    "quiet rural": (53.6, 28.6),
}
#: The same for the galaxy, ITU-R P.372-16 Part 4 sec. 4.1 eq. (13).
GALACTIC: Final = (52.0, 23.0)

#: k T0 in 1 Hz, dBm.
THERMAL_DBM_HZ: Final = float(10 * np.log10(BOLTZMANN_J_K * REFERENCE_TEMPERATURE_K * 1e3))


def galactic_noise_db(frequency_hz: ArrayLike) -> FloatArray:
    """Return the median galactic noise figure, dB over k T0 B (P.372-16 Part 4 eq. (13), up to about 100 MHz)."""
    return _noise_db(GALACTIC, frequency_hz)


def man_made_noise_db(frequency_hz: ArrayLike, environment: Environment) -> FloatArray:
    """Return the median man-made noise figure, dB over k T0 B (P.372-16 Part 6, 0.3 to 250 MHz).

    The quiet rural values belong to short waves and fall below the galaxy at VHF: never use them alone there.
    """
    return _noise_db(MAN_MADE[environment], frequency_hz)


def system_noise_db(frequency_hz: ArrayLike, environment: Environment, receiver_noise_figure_db: float) -> FloatArray:
    """Return galaxy, mankind and receiver, dB over k T0 B: f = f_a + f_r - 1 (P.372 Part 2, no feeder loss)."""
    external = 10 ** (galactic_noise_db(frequency_hz) / 10) + 10 ** (man_made_noise_db(frequency_hz, environment) / 10)
    return np.asarray(10 * np.log10(external + 10 ** (receiver_noise_figure_db / 10) - 1))


def noise_power_dbm(
    frequency_hz: ArrayLike, bandwidth_hz: ArrayLike, environment: Environment, receiver_noise_figure_db: float
) -> FloatArray:
    """Return the noise power in a bandwidth at the terminals of a lossless antenna."""
    figure = system_noise_db(frequency_hz, environment, receiver_noise_figure_db)
    return np.asarray(THERMAL_DBM_HZ + figure + 10 * np.log10(np.asarray(bandwidth_hz, dtype=np.float64)))


def _noise_db(coefficients: tuple[float, float], frequency_hz: ArrayLike) -> FloatArray:
    constant, slope = coefficients
    return np.asarray(constant - slope * np.log10(np.asarray(frequency_hz, dtype=np.float64) / 1e6))
