"""The filter bank's plan for one stretch: bins, hops, frames, and where each channel lies in them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len

from skyglint.dsp.frames import ChannelGrid
from skyglint.dsp.prototype import independent_samples, prototype_window
from skyglint.site import Channel

#: Nominal width of a bin of an ``fm`` channel and length of a frame. Rates that they do not divide get the nearest
#: fast transform, and frames a whole number of hops. (At 2.4 MS/s this makes transforms of 960, a sixth faster than the
#: 1,200 of 2 kHz bins.)
BIN_HZ = 2_500.0
FRAME_S = 0.010

#: A carrier's baseband is at least this much wider than its analysis bandwidth, for the filter's slope.
CARRIER_OVERSAMPLING = 1.3
#: Frames of a carrier's spectrum look at this many frame lengths (windowed), for a finer bin.
CARRIER_WINDOW_FRAMES = 3.2
#: Bins on either side of 0 Hz that the converter's offset and its flicker fill.
SPIKE_BINS = 1


@dataclass(frozen=True, slots=True)
class FmRange:
    """Where an ``fm`` channel lies: indices of its bins in the transform (wrapped), rising in frequency."""

    bins: NDArray[np.int64]
    grid: ChannelGrid


@dataclass(frozen=True, slots=True)
class CarrierRange:
    """Where a ``carrier`` channel lies: its place in the band, its decimation, its window and the bins kept."""

    offset_hz: float
    decimation: int
    window: NDArray[np.float64]
    bins: NDArray[np.int64]
    grid: ChannelGrid


@dataclass(frozen=True, slots=True)
class BankGeometry:
    """All fixed sizes of the bank for one sample rate and centre frequency.

    Attributes
    ----------
    sample_rate_hz, center_frequency_hz
        True values, clock correction applied.
    n_bins, hops, frame_samples
        Length of the transform (and of a hop), hops a frame, samples a frame.
    window
        Prototype window, shape (FOLDS * n_bins,).
    ranges
        For each channel an ``FmRange``, a ``CarrierRange``, or ``None`` where it lies outside the band.
    """

    sample_rate_hz: float
    center_frequency_hz: float
    n_bins: int
    hops: int
    window: NDArray[np.float64]
    ranges: tuple[FmRange | CarrierRange | None, ...]

    @property
    def frame_samples(self) -> int:
        """Samples a frame."""
        return self.n_bins * self.hops

    @property
    def frame_s(self) -> float:
        """Length of a frame in seconds."""
        return self.frame_samples / self.sample_rate_hz

    @property
    def grids(self) -> tuple[ChannelGrid | None, ...]:
        """Grid of each channel; ``None`` where it lies outside the band."""
        return tuple(None if item is None else item.grid for item in self.ranges)


def transform_length(sample_rate_hz: float) -> int:
    """Return the length of a fast transform with bins of about ``BIN_HZ``, and at least 8."""
    wanted = sample_rate_hz / BIN_HZ
    candidates = [next_fast_len(max(8, n)) for n in (int(wanted), round(wanted), int(wanted * 0.94), int(wanted) + 1)]
    return min(candidates, key=lambda n: abs(n - wanted))


def plan_bank(
    channels: Sequence[Channel],
    sample_rate_hz: float,
    center_frequency_hz: float,
    correction_ppm: float,
    band_hz: tuple[float, float],
) -> BankGeometry:
    """Lay the channels into the bank.

    Parameters
    ----------
    channels
        What to watch, anywhere; those outside the band get no range.
    sample_rate_hz, center_frequency_hz
        As the source states them.
    correction_ppm
        How much faster than stated the receiver's clock runs: both the true rate and the true centre are higher by
        this.
    band_hz
        Lowest and highest radio frequency that the source can show (as stated, before correction).
    """
    factor = 1.0 + correction_ppm * 1e-6
    rate, center = sample_rate_hz * factor, center_frequency_hz * factor
    n_bins = transform_length(sample_rate_hz)
    hops = max(1, round(FRAME_S * sample_rate_hz / n_bins))
    window = prototype_window(n_bins)
    band = (band_hz[0] * factor, band_hz[1] * factor)
    bank = (rate, center, n_bins, hops)
    effective = independent_samples(window, n_bins, hops)
    ranges = tuple(
        _fm_range(channel, bank, band, effective) if channel.kind == "fm" else _carrier_range(channel, bank, band)
        for channel in channels
    )
    return BankGeometry(rate, center, n_bins, hops, window, ranges)


def _fm_range(
    channel: Channel, bank: tuple[float, float, int, int], band: tuple[float, float], effective: float
) -> FmRange | None:
    rate, center, n_bins, _ = bank
    half = channel.bandwidth_hz / 2
    if channel.frequency_hz - half < band[0] or channel.frequency_hz + half > band[1]:
        return None
    bin_hz = rate / n_bins
    offset = channel.frequency_hz - center
    first = int(np.ceil((offset - half) / bin_hz + 0.5 - 1e-9))
    last = int(np.floor((offset + half) / bin_hz - 0.5 + 1e-9))
    indices = np.arange(first, last + 1) if last >= first else np.array([round(offset / bin_hz)])
    usable = np.abs(indices) > SPIKE_BINS
    grid = ChannelGrid(np.asarray(indices * bin_hz - offset, dtype=np.float64), bin_hz, effective, usable)
    return FmRange(indices % n_bins, grid)


def _carrier_range(
    channel: Channel, bank: tuple[float, float, int, int], band: tuple[float, float]
) -> CarrierRange | None:
    rate, center, n_bins, hops = bank
    half = channel.bandwidth_hz / 2
    if channel.frequency_hz - half < band[0] or channel.frequency_hz + half > band[1]:
        return None
    decimation = _decimation(n_bins * hops, rate / (channel.bandwidth_hz * CARRIER_OVERSAMPLING))
    per_frame = n_bins * hops // decimation
    length = next_fast_len(round(per_frame * CARRIER_WINDOW_FRAMES))
    window = np.hanning(length + 2)[1:-1]
    window = window / np.sqrt(length * np.sum(window**2))
    bin_hz = rate / decimation / length
    indices = np.arange(int(np.ceil(-half / bin_hz)), int(np.floor(half / bin_hz)) + 1)
    offset = channel.frequency_hz - center
    usable = np.abs(indices * bin_hz + offset) > 2 * bin_hz
    # One windowed look a frame: looks of neighbouring frames overlap, but a single frame's bin is one sample.
    grid = ChannelGrid(np.asarray(indices * bin_hz, dtype=np.float64), bin_hz, 1.0, usable)
    return CarrierRange(offset, decimation, window, indices % length, grid)


def _decimation(frame_samples: int, most: float) -> int:
    """Return the largest divisor of a frame that is at most ``most``, and at least 1."""
    return max(n for n in range(1, frame_samples + 1) if frame_samples % n == 0 and n <= max(most, 1.0))
