"""One channel out of a burst of samples: shifted to 0 Hz, filtered, at a rate just above the channel's width."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: Least rate after decimation. 98 % of the power of an FM multiplex lies within +-100 kHz, and phase steps of a signal
#: that deviates by 75 kHz stay below pi.
LEAST_RATE_HZ = 240_000.0
#: Half-power half-width of the channel filter, and the width of its skirt. Wider lets in noise, narrower bends the
#: multiplex: the widest error-free range at low signal-to-noise ratios was measured at 90 to 110 kHz.
HALF_WIDTH_HZ = 100_000.0
SKIRT_HZ = 60_000.0
#: Below this rate the stream is the channel, and no filter is needed.
NARROW_RATE_HZ = 2.0 * HALF_WIDTH_HZ + 20_000.0


def channelise(
    samples: NDArray[np.complex64], sample_rate_hz: float, offset_hz: float = 0.0
) -> tuple[NDArray[np.complex64], float]:
    """Return the channel's samples, centred on 0 Hz, and their rate.

    The rate is the input's divided by the largest whole number that leaves at least ``LEAST_RATE_HZ``.

    Parameters
    ----------
    samples
        Complex baseband, shape (n,).
    offset_hz
        Frequency of the channel's centre in that baseband.
    """
    if sample_rate_hz <= NARROW_RATE_HZ:
        return _shifted(np.asarray(samples, np.complex64), offset_hz / sample_rate_hz), sample_rate_hz
    step = max(1, int(sample_rate_hz // LEAST_RATE_HZ))
    taps = lowpass(HALF_WIDTH_HZ / sample_rate_hz, SKIRT_HZ / sample_rate_hz)
    # Turning the filter to the channel's offset and shifting after the decimation spares a full-rate oscillator.
    turned = taps * np.exp(2j * np.pi * offset_hz / sample_rate_hz * (np.arange(len(taps)) - len(taps) // 2))
    rate_hz = sample_rate_hz / step
    return _shifted(_decimated(samples, turned.astype(np.complex64), step), offset_hz / rate_hz), rate_hz


def _decimated(samples: NDArray[np.complex64], taps: NDArray[np.complex64], step: int) -> NDArray[np.complex64]:
    """Filter and keep every ``step``-th sample, the first at the burst's first; zeros stand beyond the ends.

    Output ``m`` is the sum over ``k`` of rows ``m + k`` of the samples, ``step`` to a row, times piece ``k`` of the
    taps: one matrix product and a sum of shifted columns.
    """
    middle = len(taps) // 2
    n_out = len(samples) // step
    n_pieces = -(-len(taps) // step)
    pieces = np.zeros(n_pieces * step, np.complex64)
    pieces[: len(taps)] = taps[::-1]
    padded = np.zeros((n_out + n_pieces) * step, np.complex64)
    inside = min(len(samples), len(padded) - middle)
    padded[middle : middle + inside] = samples[:inside]
    products = pieces.reshape(n_pieces, step) @ padded.reshape(-1, step).T
    kept: NDArray[np.complex64] = np.zeros(n_out, np.complex64)
    for piece in range(n_pieces):
        kept += products[piece, piece : piece + n_out]
    return kept


def lowpass(cutoff: float, skirt: float) -> NDArray[np.float64]:
    """Return the taps of a Blackman-windowed low-pass filter; ``cutoff`` and ``skirt`` in cycles a sample."""
    n_taps = 2 * round(2.75 / skirt) + 1
    positions = np.arange(n_taps) - n_taps // 2
    taps = 2 * cutoff * np.sinc(2 * cutoff * positions) * np.blackman(n_taps + 2)[1:-1]
    scaled: NDArray[np.float64] = taps / taps.sum()
    return scaled


def _shifted(samples: NDArray[np.complex64], cycles_per_sample: float) -> NDArray[np.complex64]:
    if cycles_per_sample == 0.0:
        return samples
    oscillator = np.exp(-2j * np.pi * np.remainder(cycles_per_sample * np.arange(len(samples)), 1.0))
    shifted: NDArray[np.complex64] = samples * oscillator.astype(np.complex64)
    return shifted
