"""A carrier's baseband and spectrum: shift, filter, decimate, look.

Two filtering steps, each a matrix product over rows of samples with the shift folded into the taps, so that one pass
of a fast library serves any number of carriers.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft

from skyglint.dsp.geometry import CarrierRange

#: Stopband of each decimation step; an 8-bit converter's own spurs lie higher.
STOPBAND_DB = 80.0


class Decimator:
    """Shift one frequency to 0 Hz and lower the rate, for whole arrays with their surroundings.

    Parameters
    ----------
    sample_rate_hz
        Rate at the input.
    offset_hz
        Frequency that ends at 0 Hz.
    decimation
        Input samples an output sample.
    passband_hz
        Half the width that must stay flat.
    """

    def __init__(self, sample_rate_hz: float, offset_hz: float, decimation: int, passband_hz: float) -> None:
        self.decimation = decimation
        self._steps: list[_Step] = []
        rate, shift = sample_rate_hz, offset_hz
        for factor in _split(decimation, sample_rate_hz, passband_hz):
            self._steps.append(_Step(rate, shift, factor, passband_hz))
            rate, shift = rate / factor, 0.0
        #: Input samples needed before and after an output sample's own place.
        self.margin = 0
        scale = 1
        for step in self._steps:
            self.margin += scale * step.reach
            scale *= step.factor
        self.margin = -(-self.margin // decimation) * decimation

    def run(self, samples: NDArray[np.complex64], first_index: int) -> NDArray[np.complex64]:
        """Return the decimated samples; the first is centred ``margin`` samples into the input.

        Parameters
        ----------
        samples
            Shape (n * decimation + 2 * margin,).
        first_index
            Absolute index of the sample at ``margin``, a multiple of the decimation; fixes the shift's phase.
        """
        count = (len(samples) - 2 * self.margin) // self.decimation
        start, index, scale = self.margin, first_index, self.decimation
        for place, step in enumerate(self._steps):
            scale //= step.factor
            after = _reach_after(self._steps, place)
            samples = step.run(
                samples, start - after * step.factor, index - after * step.factor, count * scale + 2 * after
            )
            start, index = after, index // step.factor
        return samples


def _reach_after(steps: list[_Step], place: int) -> int:
    reach, scale = 0, 1
    for step in steps[place + 1 :]:
        reach += scale * step.reach
        scale *= step.factor
    return reach


class _Step:
    """One filter: complex taps (the shift folded in), every ``factor``-th output, then a slow rotation."""

    def __init__(self, rate_hz: float, shift_hz: float, factor: int, passband_hz: float) -> None:
        self.factor = factor
        if factor == 1:
            taps = np.ones(1)
        else:
            output_hz = rate_hz / factor
            width = max(output_hz - 2 * passband_hz, 0.05 * output_hz) / rate_hz
            # Kaiser's rule for the length (Oppenheim & Schafer, Discrete-Time Signal Processing, sec. 7.5.3).
            length = int(np.ceil((STOPBAND_DB - 7.95) / (2.285 * 2 * np.pi * width))) + 1
            rows = -(-length // (2 * factor))
            time = np.arange(-rows * factor, rows * factor + 1)
            beta = 0.1102 * (STOPBAND_DB - 8.7)
            taps = np.sinc(time / factor) * np.i0(beta * np.sqrt(np.clip(1 - (time / (rows * factor)) ** 2, 0, 1)))
            taps = taps / taps.sum()
        self.reach = (len(taps) - 1) // 2
        self._turn = shift_hz / rate_hz
        phase = np.exp(-2j * np.pi * self._turn * np.arange(-self.reach, self.reach + 1))
        parts = -(-len(taps) // factor)
        padded = np.zeros(parts * factor, dtype=np.complex64)
        padded[: len(taps)] = taps * phase
        self._taps = np.ascontiguousarray(padded.reshape(parts, factor).T)

    def run(self, samples: NDArray[np.complex64], start: int, index: int, count: int) -> NDArray[np.complex64]:
        if self.factor == 1:
            out = samples[start : start + count]
        else:
            parts = self._taps.shape[1]
            rows = (count + parts - 1) * self.factor
            piece = samples[start - self.reach : start - self.reach + rows]
            if len(piece) < rows:  # only the padding of the taps looks beyond the end
                piece = np.concatenate([piece, np.zeros(rows - len(piece), dtype=np.complex64)])
            products = piece.reshape(-1, self.factor) @ self._taps
            out = products[:count, 0].copy()
            for part in range(1, parts):
                out += products[part : part + count, part]
        if self._turn == 0.0:
            return out
        turns = self._turn * (index + self.factor * np.arange(count, dtype=np.float64))
        rotation = np.exp(-2j * np.pi * (turns % 1.0)).astype(np.complex64)
        return np.asarray(out * rotation)


def _split(decimation: int, rate_hz: float, passband_hz: float) -> list[int]:
    """Return the factors of one or two steps, the cheaper in multiplications."""
    if decimation == 1:
        return [1]
    divisors = [n for n in range(2, decimation + 1) if decimation % n == 0]
    best = min(divisors, key=lambda first: _cost(first, decimation, rate_hz, passband_hz))
    return [best] if best == decimation else [best, decimation // best]


def _cost(first: int, decimation: int, rate_hz: float, passband_hz: float) -> float:
    total, rate = 0.0, rate_hz
    for factor in (first, decimation // first):
        if factor > 1:
            width = max(rate / factor - 2 * passband_hz, 0.05 * rate / factor)
            total += (STOPBAND_DB / 14.36) * rate / width * rate / factor
            rate /= factor
    return total


def carrier_spectra(
    baseband: NDArray[np.complex64], plan: CarrierRange, n_frames: int, per_frame: int
) -> NDArray[np.float32]:
    """Return a carrier's bin powers, shape (n_frames, len(plan.bins)), one windowed look a frame.

    Parameters
    ----------
    baseband
        The frames' samples with ``spectrum_margin`` of their neighbours on either side.
    """
    length = len(plan.window)
    looks = np.lib.stride_tricks.sliding_window_view(baseband, length)[::per_frame][:n_frames]
    transform = fft(looks * plan.window.astype(np.float32), axis=1)[:, plan.bins]
    return np.asarray(transform.real**2 + transform.imag**2, dtype=np.float32)


def spectrum_margin(plan: CarrierRange, per_frame: int) -> int:
    """Return the baseband samples that a look needs on either side of its frame."""
    return -(-(len(plan.window) - per_frame) // 2)
