"""Frames: what the filter bank makes of samples, and what the detector reads."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class ChannelGrid:
    """The fixed frequency grid of one channel.

    Attributes
    ----------
    offsets_hz
        Centre of each bin relative to the channel's frequency, shape (n_bins,), rising; clock correction applied.
    bin_hz
        Width of a bin.
    samples_per_frame
        Equivalent independent complex samples behind one bin of one frame: on white noise the sum of many
        neighbouring bins has relative variance 1 / (bins * samples_per_frame).
    usable
        Bins that may be used, shape (n_bins,): false at the centre spike and outside the source's band.
    """

    offsets_hz: NDArray[np.float64]
    bin_hz: float
    samples_per_frame: float
    usable: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class FrameBlock:
    """Consecutive frames of all channels.

    Attributes
    ----------
    stretch
        Number of the unbroken stretch.
    start_unix
        UTC of the start of the first frame.
    first_frame
        Index of the first frame within the stretch.
    frame_s
        Length of a frame; frames follow each other without overlap.
    spectra
        For each channel, bin power relative to full scale, shape (n_frames, n_bins), float32, linear. The sum over
        the bins of a channel is the power in it (a full-scale tone inside gives 1).
    basebands
        For each channel of kind ``carrier``, complex64 samples around the channel's frequency at
        ``baseband_rate_hz``, shape (n,), full scale 1, aligned with the frames; ``None`` for ``fm``.
    baseband_rate_hz
        Rate of the basebands; a whole number of samples a frame.
    clipped
        Share of samples at the converter's rails, shape (n_frames,).
    level
        Power of all samples relative to full scale, shape (n_frames,).
    """

    stretch: int
    start_unix: float
    first_frame: int
    frame_s: float
    spectra: tuple[NDArray[np.float32], ...]
    basebands: tuple[NDArray[np.complex64] | None, ...]
    baseband_rate_hz: float
    clipped: NDArray[np.float32]
    level: NDArray[np.float32]

    @property
    def n_frames(self) -> int:
        """Frames in the block."""
        return len(self.level)

    @property
    def end_unix(self) -> float:
        """UTC of the end of the last frame."""
        return self.start_unix + self.n_frames * self.frame_s
