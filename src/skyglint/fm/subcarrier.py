"""The 57 kHz subcarrier: matched filter, bit timing, frequency, phase, and one log-likelihood ratio a bit.

IEC 62106 / EN 50067 sect. 1: bits at 1187.5 a second (the 48th part of the subcarrier), each a positive and, half a
bit later, a negative impulse or the reverse, shaped by ``H(f) = cos(pi f td / 4)`` up to ``2 / td``, on a suppressed
carrier. In stereo the subcarrier is three times the pilot.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft, ifft, next_fast_len

from skyglint.fm.blocks import BIT_RATE_HZ
from skyglint.fm.discriminator import Multiplex

SUBCARRIER_HZ = 57_000.0
#: Without a pilot: 57 kHz +-6 Hz (EN 50067 sect. 1.2), and 100 ppm of a receiver's sampling clock.
SEARCH_HZ = 12.0
_STEPS_PER_BIT = 32
#: A second timing is followed up when its energy above the least one reaches this share of the best one's: half a bit
#: off, neighbouring bits leak in and leave about half the energy.
_RIVAL_SHARE = 0.6
#: A bit is never believed more than this (natural logarithm of the odds): clicks are not Gaussian.
_GREATEST_RATIO = 7.0
#: Least bits in which phase and noise can be told apart.
LEAST_BITS = 20


@dataclass(frozen=True, slots=True)
class SoftBits:
    """Received symbols of a burst at one timing.

    Attributes
    ----------
    ratios
        Logarithm of the odds of + against - for each sent symbol, shape (n,); all signs may be inverted together.
    energy_per_bit_db
        Eb/N0 of the subcarrier behind the discriminator, averaged over the burst.
    """

    ratios: NDArray[np.float64]
    energy_per_bit_db: float


def receive(multiplex: Multiplex, pilot_hz: float | None = None) -> list[SoftBits]:
    """Return the soft bits of a burst at its best timing, and at a rival one where the choice is open.

    Parameters
    ----------
    pilot_hz
        Frequency of the stereo pilot on the same clock, where there is one: then subcarrier and bit clock follow from
        it. Otherwise they are searched for.

    Returns
    -------
    list of SoftBits
        Best first; empty for a burst too short or at a rate too low to carry the subcarrier.
    """
    if multiplex.rate_hz < 2 * (SUBCARRIER_HZ + 2 * BIT_RATE_HZ) or multiplex.duration_s * BIT_RATE_HZ < LEAST_BITS:
        return []
    baseband = matched_filter(multiplex, SUBCARRIER_HZ if pilot_hz is None else 3 * pilot_hz)
    if pilot_hz is None:
        baseband = baseband.retuned(_frequency_error(*baseband.symbols(baseband.timings()[0]), baseband.subcarrier_hz))
    return [_soft(*baseband.symbols(timing)) for timing in baseband.timings()]


@dataclass(frozen=True, slots=True)
class Baseband:
    """The subcarrier's signal behind the matched filter, around 0 Hz.

    Attributes
    ----------
    signal
        Complex signal, shape (n,), at ``rate_hz``.
    power
        Power of the radio signal at the same times, relative to its mean: the inverse of the noise's variance.
    subcarrier_hz
        Frequency that now stands at 0 Hz; a bit lasts 48 of its periods.
    """

    signal: NDArray[np.complex128]
    power: NDArray[np.float64]
    rate_hz: float
    subcarrier_hz: float

    @property
    def bit_steps(self) -> float:
        """Samples in a bit."""
        return self.rate_hz * 48 / self.subcarrier_hz

    def retuned(self, error_hz: float) -> Baseband:
        """Return the baseband of a subcarrier this much higher."""
        turn = np.exp(-2j * np.pi * error_hz / self.rate_hz * np.arange(len(self.signal)))
        return Baseband(self.signal * turn, self.power, self.rate_hz, self.subcarrier_hz + error_hz)

    def timings(self) -> list[float]:
        """Return the middle of the first bit, in samples, that gathers the most energy; then a rival, if any."""
        trials = np.arange(_STEPS_PER_BIT) * self.bit_steps / _STEPS_PER_BIT
        n_bits = int((len(self.signal) - 1 - trials[-1]) / self.bit_steps)
        times = trials[:, None] + self.bit_steps * np.arange(n_bits)
        weighed = np.abs(self.signal * self.power) ** 2
        energies = np.interp(times, np.arange(len(weighed)), weighed).sum(axis=1)
        best = int(np.argmax(energies))
        found = [best]
        nearby = (best + _STEPS_PER_BIT // 2 + np.arange(-3, 4)) % _STEPS_PER_BIT
        rival = int(nearby[np.argmax(energies[nearby])])
        least = float(energies.min())
        if energies[rival] - least >= _RIVAL_SHARE * (energies[best] - least):
            found.append(rival)
        return [float(trials[trial]) for trial in found]

    def symbols(self, timing: float) -> tuple[NDArray[np.complex128], NDArray[np.float64]]:
        """Return the symbols at a timing, and the weight of each (inverse noise)."""
        times = timing + self.bit_steps * np.arange(int((len(self.signal) - 1 - timing) / self.bit_steps) + 1)
        grid = np.arange(len(self.signal))
        symbols = np.interp(times, grid, self.signal.real) + 1j * np.interp(times, grid, self.signal.imag)
        return symbols, np.interp(times, grid, self.power)


def matched_filter(multiplex: Multiplex, subcarrier_hz: float) -> Baseband:
    """Mix the multiplex down from the subcarrier, through the filter matched to one bit."""
    bin_hz = multiplex.rate_hz / multiplex.n_fft
    centre = round(subcarrier_hz / bin_hz)
    half = int(2 * BIT_RATE_HZ / bin_hz)
    around = np.arange(-half, half + 1)
    offset_hz = centre * bin_hz - subcarrier_hz
    offsets_hz: NDArray[np.float64] = around * np.float64(bin_hz) + offset_hz
    n_out = next_fast_len(round(_STEPS_PER_BIT * BIT_RATE_HZ / bin_hz))
    rate_hz = n_out * bin_hz
    spectrum = np.zeros(n_out, np.complex128)
    spectrum[around % n_out] = multiplex.spectrum[centre + around] * np.conj(bit_spectrum(offsets_hz))
    signal = ifft(spectrum)[: int(multiplex.duration_s * rate_hz)]
    readings = (np.arange(len(signal)) * (multiplex.rate_hz / rate_hz)).astype(np.int64)
    power = multiplex.power[np.minimum(readings, len(multiplex.power) - 1)].astype(np.float64)
    return Baseband(signal, power, rate_hz, subcarrier_hz + offset_hz).retuned(-offset_hz)


def bit_spectrum(frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Return the spectrum of the symbol of a 1: two shaped impulses, + then -, centred on the bit's middle."""
    shape = np.where(np.abs(frequency_hz) <= 2 * BIT_RATE_HZ, np.cos(np.pi * frequency_hz / (4 * BIT_RATE_HZ)), 0.0)
    return 2j * np.sin(np.pi * frequency_hz / (2 * BIT_RATE_HZ)) * shape


def _frequency_error(symbols: NDArray[np.complex128], weights: NDArray[np.float64], subcarrier_hz: float) -> float:
    """Return how far the subcarrier is off: squaring removes the data and doubles the frequency."""
    squares = (weights * symbols) ** 2
    n_fft = next_fast_len(8 * len(squares))
    lines = np.abs(fft(squares, n_fft))
    frequencies = np.fft.fftfreq(n_fft, 48 / subcarrier_hz)
    lines[np.abs(frequencies) > 2 * SEARCH_HZ] = 0.0
    return float(frequencies[np.argmax(lines)]) / 2


def _soft(symbols: NDArray[np.complex128], weights: NDArray[np.float64]) -> SoftBits:
    """Turn symbols into ratios: phase by squaring, noise from the quadrature, amplitude by maximum likelihood."""
    phase = 0.5 * np.angle(np.sum((weights * symbols) ** 2))
    turned = symbols * np.exp(-1j * phase)
    along, across = turned.real, turned.imag
    # Noise variance of a symbol is noise / weight; the phase takes one of the degrees of freedom.
    noise = float(np.sum(weights * across**2) / (len(symbols) - 1)) or 1e-30
    amplitude = np.sqrt(max(float(np.sum(weights * along**2)) / noise - len(symbols), 1.0) * noise / weights.sum())
    for _ in range(6):
        belief = np.tanh(amplitude * weights * along / noise)
        amplitude = float(np.sum(weights * along * belief) / weights.sum())
    ratios = np.clip(2 * amplitude * weights * along / noise, -_GREATEST_RATIO, _GREATEST_RATIO)
    energy = amplitude**2 * float(np.mean(weights)) / (2 * noise)
    return SoftBits(ratios, float(10 * np.log10(max(energy, 1e-6))))
