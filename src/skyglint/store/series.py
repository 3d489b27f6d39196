"""Evenly spaced readings of a channel, gathered into chunks for the database and spread out again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: A reading this far from where the series expects it (in steps) begins a new chunk.
_TOLERANCE_STEPS = 0.05


@dataclass(frozen=True, slots=True)
class Chunk:
    """Consecutive readings: start of the first, POSIX seconds; time between them; levels in dB, shape (n,)."""

    start_unix: float
    step_s: float
    level_db: NDArray[np.float32]

    @property
    def end_unix(self) -> float:
        """End of the last reading."""
        return self.start_unix + len(self.level_db) * self.step_s


class Chunker:
    """Gathers the readings of one channel into chunks of at most ``chunk_s``; a hole or a new step begins another."""

    def __init__(self, chunk_s: float) -> None:
        self._chunk_s = chunk_s
        self._parts: list[NDArray[np.float32]] = []
        self._start_unix = 0.0
        self._step_s = 0.0
        self._count = 0

    def process(self, start_unix: float, step_s: float, level_db: ArrayLike) -> Iterator[Chunk]:
        """Take readings and yield the chunks that are complete."""
        level = np.asarray(level_db, dtype=np.float32)
        expected = self._start_unix + self._count * self._step_s
        if self._count and (step_s != self._step_s or abs(start_unix - expected) > _TOLERANCE_STEPS * step_s):
            yield from self.reset()
        most = max(int(self._chunk_s / step_s), 1)
        done = 0
        while done < len(level):
            if not self._count:
                self._start_unix, self._step_s = start_unix + done * step_s, step_s
            part = level[done : done + most - self._count].copy()
            self._parts.append(part)
            self._count += len(part)
            done += len(part)
            if self._count == most:
                yield from self.reset()

    def reset(self) -> Iterator[Chunk]:
        """Yield the chunk in hand, if there is one, and be empty."""
        if self._count:
            yield Chunk(self._start_unix, self._step_s, np.concatenate(self._parts))
        self._parts, self._count = [], 0


def decimate(chunks: Iterable[Chunk], start_unix: float, step_s: float, n: int) -> NDArray[np.float32]:
    """Return the largest reading whose middle lies in each of ``n`` steps from ``start_unix``, shape (n,).

    NaN where a step holds no measured reading.
    """
    best = np.full(n, -np.inf)
    for chunk in chunks:
        # Rounding keeps a chunk whose step is the grid's own on consecutive places.
        first = round((chunk.start_unix + chunk.step_s / 2 - start_unix) / step_s, 4)
        place = np.floor(first + np.arange(len(chunk.level_db)) * (chunk.step_s / step_s)).astype(np.int64)
        inside = (place >= 0) & (place < n) & ~np.isnan(chunk.level_db)
        np.maximum.at(best, place[inside], chunk.level_db[inside])
    return np.where(np.isneginf(best), np.nan, best).astype(np.float32)
