"""What a receiver adds and spoils: noise, gain, the DC spike, I/Q imbalance and the converter's steps."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from skyglint.simulate.events import GainStep
from skyglint.simulate.scenario import Receiver


def fast_random(seed: int) -> np.random.Generator:
    """Return a generator that is quick at large amounts of noise (SFC64)."""
    return np.random.Generator(np.random.SFC64(seed))


def white_noise(n: int, power: float, random: np.random.Generator) -> NDArray[np.complex64]:
    """Return complex white Gaussian noise of this mean power."""
    parts = random.standard_normal(2 * n, dtype=np.float32)
    parts *= np.float32(np.sqrt(power / 2))
    return parts.view(np.complex64)


class GainWander:
    """A receiver gain that wanders: in decibels a Gaussian process with exponential memory (Ornstein-Uhlenbeck).

    Parameters
    ----------
    sd_db, memory_s
        Standard deviation, and the time in which the correlation falls to 1/e.
    """

    def __init__(self, sd_db: float, memory_s: float, random: np.random.Generator) -> None:
        self._sd_db, self._memory_s, self._random = sd_db, memory_s, random
        self._now_db = sd_db * random.standard_normal()

    def read(self, duration_s: float) -> tuple[float, float]:
        """Return the gain in decibels at the start and at the end of the next ``duration_s``."""
        before_db = self._now_db
        keep = np.exp(-duration_s / self._memory_s)
        self._now_db = keep * before_db + self._sd_db * np.sqrt(1 - keep**2) * self._random.standard_normal()
        return float(before_db), float(self._now_db)


def step_gain_db(steps: tuple[GainStep, ...], seconds: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the sum of the gain steps at these times."""
    gain_db = np.zeros(len(seconds))
    for step in steps:
        gain_db += np.where((seconds >= step.start_s) & (seconds < step.start_s + step.duration_s), step.step_db, 0.0)
    return gain_db


def spoil(samples: NDArray[np.complex64], receiver: Receiver) -> NDArray[np.complex64]:
    """Return the samples with I/Q imbalance and the DC spike.

    Q' = g (Q cos p + I sin p), I' = I: the image of a signal stands (1 + 2 g cos p + g^2) / (1 - 2 g cos p + g^2) below
    it (Razavi, RF Microelectronics, image rejection of a quadrature receiver).
    """
    if receiver.iq_gain_db or receiver.iq_phase_deg:
        ratio = 10 ** (receiver.iq_gain_db / 20)
        phase = np.radians(receiver.iq_phase_deg)
        samples = samples.copy()
        along, across = np.float32(ratio * np.cos(phase)), np.float32(ratio * np.sin(phase))
        samples.imag = along * samples.imag + across * samples.real
    if receiver.dc_i or receiver.dc_q:
        samples = samples + np.complex64(complex(receiver.dc_i, receiver.dc_q))
    return samples
