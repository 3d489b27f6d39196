"""The samples of an echo that has closed: from the last seconds held in memory, or from the recording again."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from skyglint.signals.block import Block, Encoding
from skyglint.signals.recording import Recording


@dataclass(frozen=True, slots=True)
class Excerpt:
    """Consecutive raw values of one stretch."""

    values: NDArray[Any]
    encoding: Encoding
    start_unix: float
    sample_rate_hz: float
    center_frequency_hz: float

    @property
    def samples(self) -> NDArray[np.complex64]:
        """The values as complex64, full scale 1."""
        return Block(
            self.values, self.encoding, 0, self.start_unix, 0, self.sample_rate_hz, self.center_frequency_hz
        ).samples


class Samples(Protocol):
    """Where the samples of a past span can be had."""

    @property
    def since_unix(self) -> float:
        """UTC of the oldest sample to be had; infinity where there is none."""
        ...

    def add(self, block: Block) -> None:
        """Take in the newest block."""
        ...

    def excerpt(self, start_unix: float, end_unix: float) -> Excerpt | None:
        """Return what is to be had of a span; ``None`` where nothing of it is."""
        ...


class Recent:
    """Holds the blocks of the last seconds.

    Parameters
    ----------
    span_s
        How long.
    correction_ppm
        How much faster than stated the receiver's clock runs: times are by the true rate.
    """

    def __init__(self, span_s: float = 6.0, correction_ppm: float = 0.0) -> None:
        self._span_s = span_s
        self._factor = 1.0 + correction_ppm * 1e-6
        self._blocks: deque[Block] = deque()

    @property
    def since_unix(self) -> float:
        """UTC of the oldest sample held; infinity where none is."""
        held = tuple(self._blocks)
        return self._unix(held[0], 0) if held else math.inf

    def add(self, block: Block) -> None:
        """Take in the newest block; blocks of an earlier stretch are forgotten."""
        if self._blocks and self._blocks[-1].stretch != block.stretch:
            self._blocks.clear()
        self._blocks.append(block)
        while self._blocks[-1].start_unix - self._blocks[0].start_unix > self._span_s:
            self._blocks.popleft()

    def excerpt(self, start_unix: float, end_unix: float) -> Excerpt | None:
        """Return what is still held of a span; ``None`` where nothing of it is."""
        parts: list[NDArray[Any]] = []
        first_unix = math.nan
        # A copy of the list: a thread may ask while the newest block comes in.
        held = tuple(self._blocks)
        for block in held:
            rate, begin_unix = block.sample_rate_hz * self._factor, self._unix(block, 0)
            length_s = block.n_samples / rate
            begin = round(min(max(start_unix - begin_unix, 0.0), length_s) * rate)
            end = round(min(max(end_unix - begin_unix, 0.0), length_s) * rate)
            if begin >= end:
                continue
            if not parts:
                first_unix = self._unix(block, begin)
            components = block.encoding.components
            parts.append(block.values[begin * components : end * components])
        if not parts:
            return None
        newest = held[-1]
        values = parts[0] if len(parts) == 1 else np.concatenate(parts)
        return Excerpt(values, newest.encoding, first_unix, newest.sample_rate_hz, newest.center_frequency_hz)

    def _unix(self, block: Block, sample: int) -> float:
        true_rate_hz = block.sample_rate_hz * self._factor
        return block.stretch_start_unix + (block.sample_index + sample) / true_rate_hz


class Reread:
    """Reads a recording's samples again where they are wanted: nothing has to be held meanwhile.

    Parameters
    ----------
    recording
        Gives the blocks of a span again.
    correction_ppm
        How much faster than stated the receiver's clock runs.
    """

    #: Everything is still there.
    since_unix = -math.inf

    def __init__(self, recording: Recording, correction_ppm: float = 0.0) -> None:
        self._recording = recording
        self._correction_ppm = correction_ppm
        self._stretch_start_unix = 0.0

    def add(self, block: Block) -> None:
        """Note where the stretch began."""
        self._stretch_start_unix = block.stretch_start_unix

    def excerpt(self, start_unix: float, end_unix: float) -> Excerpt | None:
        """Return the samples of a span; ``None`` where there are none."""
        factor, begin = 1.0 + self._correction_ppm * 1e-6, self._stretch_start_unix
        # A margin, since stated times of the recording are by the stated rate.
        drift_s = abs(end_unix - begin) * abs(factor - 1.0) + 0.01
        recent = Recent(math.inf, self._correction_ppm)
        for block in self._recording.span(start_unix - drift_s, end_unix + drift_s):
            recent.add(block)
        return recent.excerpt(start_unix, end_unix)
