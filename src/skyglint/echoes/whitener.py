"""Makes a carrier channel's noise white: colour flattened, steady lines (birdies, hum, the direct carrier) removed."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft, fftfreq, ifft

from skyglint.dsp.line_floor import LineFloor, clear_lines, first_floor, quiet_looks, smooth_floor, steady_lines

Floats = NDArray[np.float64]

_SMOOTHING_HZ = 128.0
_CAUTION = 10.0  # what is left of a line that is cut off lies at one moment in many bins, and adds up


class Whitener:
    """Whitens a stream of samples in steps, with one step of delay.

    Blocks of two steps overlap by half under the square root of a Hann window; each is divided, bin by bin, by the
    square root of the floor known before it. Outside the band nothing is left. Noise comes out with the density of
    white noise of unit variance per sample, and its matched filters with exponentially distributed power.

    Parameters
    ----------
    first
        Samples of the warm-up, whole steps, shape (n_steps, samples_per_step).
    rate_hz, half_band_hz
        Rate of the samples, and half the width of the band that is kept.
    """

    def __init__(self, first: NDArray[np.complex64], rate_hz: float, half_band_hz: float) -> None:
        self._n = first.shape[1]
        self._window = np.sqrt(0.5 - 0.5 * np.cos(2 * np.pi * np.arange(2 * self._n) / (2 * self._n)))
        self._inside = np.abs(fftfreq(2 * self._n, 1 / rate_hz)) <= half_band_hz
        self._smooth = max(round(_SMOOTHING_HZ / (rate_hz / (2 * self._n))), 4)
        self._floor = LineFloor(self._first(first))
        self._last = np.zeros(self._n, dtype=np.complex128)
        self._tail = np.zeros(self._n, dtype=np.complex128)

    def process(self, step: NDArray[np.complex64]) -> NDArray[np.complex64]:
        """Take in one step and return the one before it, whitened (the first time: nothing but zeros)."""
        samples = np.concatenate([self._last, step])
        transform, power = self._spectrum(samples)
        floor = self._floor.power
        smooth = smooth_floor(floor, self._smooth)
        lines = steady_lines(floor, smooth)
        noise = np.where(lines, np.maximum(floor, smooth), smooth)
        if lines.any() and not samples.all():
            noise = smooth + _CAUTION * self._cut_off(noise - smooth, samples != 0)
        block = ifft(transform * self._gain(noise)) * self._window
        self._floor.update(power, clear_lines(floor, smooth))
        out = self._tail + block[: self._n]
        self._tail, self._last = block[self._n :], step.astype(np.complex128)
        return np.asarray(out, dtype=np.complex64)

    def _spectrum(self, block: NDArray[np.complexfloating]) -> tuple[NDArray[np.complex128], Floats]:
        transform = fft(block * self._window)
        return transform, transform.real**2 + transform.imag**2

    def _first(self, steps: NDArray[np.complex64]) -> Floats:
        """Return the floor of the warm-up, from the blocks of steps that hold no burst."""
        within = self._inside[::2]
        totals = np.array([np.square(np.abs(fft(step)[within])).sum() for step in steps])
        quiet = quiet_looks(totals)
        blocks = [np.concatenate(pair) for pair in pairwise(steps)]
        both = quiet[1:] & quiet[:-1]
        if not both.any():
            lone = steps[np.flatnonzero(quiet)[0]]
            blocks, both = [*blocks, np.concatenate([lone, lone])], np.append(both, True)
        return first_floor(np.stack([self._spectrum(block)[1] for block in blocks]), both, self._smooth)

    def _cut_off(self, lines: Floats, heard: NDArray[np.bool_]) -> Floats:
        """Return where the power of lines goes in a block of which only a part is heard: an end spreads it."""
        reach = self._spectrum(heard.astype(np.complex64))[1] / np.square(self._window.sum())
        return np.asarray(np.maximum(ifft(fft(lines) * fft(reach)).real, lines))

    def _gain(self, noise: Floats) -> Floats:
        gain = np.sqrt(np.square(self._window).sum() / np.maximum(noise, 1e-30))
        return np.asarray(np.where(self._inside, gain, 0.0))
