"""The last seconds of samples, kept so that an echo that has just closed can still be heard."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from skyglint.signals.block import Block, Encoding


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


class Recent:
    """Holds the blocks of the last seconds; those of a file cost no memory, being views of it."""

    def __init__(self, span_s: float = 6.0) -> None:
        self._span_s = span_s
        self._blocks: deque[Block] = deque()

    def add(self, block: Block) -> None:
        """Take in the newest block; blocks of an earlier stretch are forgotten."""
        if self._blocks and self._blocks[-1].stretch != block.stretch:
            self._blocks.clear()
        self._blocks.append(block)
        while self._blocks[-1].start_unix - self._blocks[0].start_unix > self._span_s:
            self._blocks.popleft()

    @property
    def since_unix(self) -> float:
        """UTC of the oldest sample held; infinity where none is."""
        return self._blocks[0].start_unix if self._blocks else math.inf

    def excerpt(self, start_unix: float, end_unix: float) -> Excerpt | None:
        """Return what is still held of a span; ``None`` where nothing of it is."""
        parts: list[NDArray[Any]] = []
        first_unix = float("nan")
        for block in self._blocks:
            rate, components = block.sample_rate_hz, block.encoding.components
            length_s = block.n_samples / rate
            begin = round(min(max(start_unix - block.start_unix, 0.0), length_s) * rate)
            end = round(min(max(end_unix - block.start_unix, 0.0), length_s) * rate)
            if begin >= end:
                continue
            if not parts:
                first_unix = block.start_unix + begin / rate
            parts.append(block.values[begin * components : end * components])
        if not parts:
            return None
        newest = self._blocks[-1]
        values = parts[0] if len(parts) == 1 else np.concatenate(parts)
        return Excerpt(values, newest.encoding, first_unix, newest.sample_rate_hz, newest.center_frequency_hz)
