"""Blocks of samples and the gaps between them: what every source yields."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Encoding:
    """How a sample is written: ``value = (raw - zero) / full_scale`` for each of I and Q.

    Attributes
    ----------
    name
        The SigMF datatype, such as ``cu8`` or ``ci16_le``; real audio in a single-sideband recording is ``rf32_le``.
    dtype
        NumPy type of one component.
    zero, full_scale
        Raw value of zero volts and the raw step from there to full scale. For ``cu8`` zero is 127.5 and full scale
        127.5, so that both rails (0 and 255) are at -1 and +1.
    components
        2 for I and Q interleaved, 1 for real samples.
    """

    name: str
    dtype: np.dtype[Any]
    zero: float
    full_scale: float
    components: int = 2

    @property
    def bytes_per_sample(self) -> int:
        """Bytes of one complex (or real) sample."""
        return self.dtype.itemsize * self.components


@dataclass(frozen=True, slots=True)
class Block:
    """A run of consecutive samples.

    Attributes
    ----------
    values
        Raw values as the source delivers them, shape (samples * components,), I and Q interleaved. Kept raw because a
        complex copy of a fast recording costs more than the analysis does.
    encoding
        How to read ``values``.
    stretch
        Number of the unbroken stretch of samples that the block belongs to, from 0; it rises after each gap, retuning
        or change of rate.
    stretch_start_unix
        UTC of the stretch's first sample.
    sample_index
        Index of the block's first sample within the stretch.
    sample_rate_hz, center_frequency_hz
        Rate and the radio frequency at 0 Hz baseband, before any clock correction.
    """

    values: NDArray[Any]
    encoding: Encoding
    stretch: int
    stretch_start_unix: float
    sample_index: int
    sample_rate_hz: float
    center_frequency_hz: float

    @property
    def n_samples(self) -> int:
        """Samples in the block."""
        return len(self.values) // self.encoding.components

    @property
    def start_unix(self) -> float:
        """UTC of the block's first sample."""
        return self.stretch_start_unix + self.sample_index / self.sample_rate_hz

    @property
    def samples(self) -> NDArray[np.complex64]:
        """Samples as complex64, shape (n_samples,), full scale 1; real samples have a zero imaginary part."""
        scaled = (self.values.astype(np.float32) - np.float32(self.encoding.zero)) / np.float32(
            self.encoding.full_scale
        )
        if self.encoding.components == 1:
            return scaled.astype(np.complex64)
        return scaled.view(np.complex64)


@dataclass(frozen=True, slots=True)
class Gap:
    """A span for which the source has no samples, and why.

    Attributes
    ----------
    start_unix, end_unix
        Half-open span in POSIX seconds.
    reason
        In a person's words, such as "recording ends before its stated length" or "receiver lost".
    """

    start_unix: float
    end_unix: float
    reason: str


@dataclass(frozen=True, slots=True)
class SourceInfo:
    """What a source says of itself before the first sample is read.

    Attributes
    ----------
    name
        For people: a file name or a receiver's address.
    fingerprint
        The same for the same content under any name or path; empty for a live receiver. Recordings: SHA-256 over the
        sizes, the metadata and the first and last MiB of samples.
    encoding
        Datatype name, such as ``cu8``.
    sample_rate_hz, center_frequency_hz
        Of the first stretch.
    start_unix, end_unix
        First sample to the end of the last as the source claims (NaN for a live receiver's end).
    band_low_hz, band_high_hz
        Radio frequencies that the samples can show; half the span for audio in single sideband.
    """

    name: str
    fingerprint: str
    encoding: str
    sample_rate_hz: float
    center_frequency_hz: float
    start_unix: float
    end_unix: float
    band_low_hz: float
    band_high_hz: float


class Source(Protocol):
    """Anything that delivers samples: a recording, a receiver, the simulator."""

    @property
    def info(self) -> SourceInfo:
        """What is known before reading."""
        ...

    def blocks(self, block_s: float = 0.1) -> Iterator[Block | Gap]:
        """Yield blocks of about ``block_s`` seconds in order of time, and a ``Gap`` wherever samples are missing.

        A truncated recording ends with a ``Gap`` up to its stated end.
        """
        ...
