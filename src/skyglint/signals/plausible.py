"""Floats that are no samples: NaN, infinities and values that nothing can mean are lost, not zero."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from skyglint.signals.block import Block, Encoding, Gap

#: A value that is no number takes this much with it, one frame of the chain.
CELL_S = 0.01

#: Full scale is 1; recordings that were never scaled reach some 1e9. The square of this still fits single precision.
LIMIT = np.float32(1e12)

#: Rounding leaves 6e-17 where a computed tone crosses zero; nothing meant is smaller than this, but 0.
LEAST = np.float32(1e-20)

PADDING = "one and the same value: samples were lost when this was recorded"
STUCK = "the receiver sends one and the same value"

REASON = "values that are no numbers (NaN, infinite or absurd)"


def cell_samples(sample_rate_hz: float) -> int:
    """Return the length of a cell in samples."""
    return max(1, round(CELL_S * sample_rate_hz))


def block_samples(block_s: float, sample_rate_hz: float, encoding: Encoding) -> int:
    """Return the length of a block in samples: whole cells where values may be no numbers."""
    if encoding.dtype.kind != "f":
        return max(1, round(block_s * sample_rate_hz))
    cell = cell_samples(sample_rate_hz)
    return max(1, round(block_s * sample_rate_hz / cell)) * cell


def is_nonsense(values: NDArray[Any]) -> NDArray[np.bool_]:
    """Tell which values are NaN, infinite or beyond 1e12."""
    nonsense: NDArray[np.bool_] = ~(np.abs(values) <= LIMIT)
    return nonsense


def share_implausible(values: NDArray[Any]) -> float:
    """Return the share of values that are no numbers, or so small or large that hardly any receiver gives them."""
    size = np.abs(values)
    plausible = (size == 0) | ((size >= LEAST) & (size <= LIMIT))
    return 1.0 - float(np.mean(plausible)) if len(values) else 0.0


def is_stuck(block: Block) -> bool:
    """Tell whether every sample of a block is the same: no receiver with an antenna is that quiet."""
    samples = block.values.reshape(-1, block.encoding.components)
    # Mostly the first few samples differ already.
    return all(bool((part == samples[0]).all()) for part in (samples[:16], samples))


def lose_nonsense(items: Iterator[Block | Gap], cell: int) -> Iterator[Block | Gap]:
    """Replace every cell that holds a value that is no number by a ``Gap``; a new stretch begins after it.

    Parameters
    ----------
    items
        Blocks and gaps of a source; blocks are whole cells long, except at the end of a stretch.
    cell
        Length of a cell in samples.
    """
    return _lose(items, cell, _runs, REASON)


def lose_padding(items: Iterator[Block | Gap], cell: int) -> Iterator[Block | Gap]:
    """Replace cells of one and the same value by a ``Gap``: recorders write such where samples were lost.

    Left in, they would draw the floor down to nothing, and what follows would be one endless burst.
    """
    return _lose(items, cell, _padded_runs, PADDING)


_Runs = Callable[[Block, int], Iterator[tuple[int, int, bool]]]


def _lose(items: Iterator[Block | Gap], cell: int, runs: _Runs, reason: str) -> Iterator[Block | Gap]:
    stretch, number, origin, fresh = -1, -1, 0, True
    pending: Gap | None = None
    for item in items:
        if isinstance(item, Gap):
            if pending:
                yield pending
                pending = None
            yield item
            continue
        if item.stretch != stretch:
            stretch, fresh = item.stretch, True
        for first, last, good in runs(item, cell):
            start_unix = item.start_unix + first / item.sample_rate_hz
            if not good:
                end_unix = item.start_unix + last / item.sample_rate_hz
                pending = Gap(pending.start_unix if pending else start_unix, end_unix, reason)
                fresh = True
                continue
            if pending:
                yield pending
                pending = None
            if fresh:
                number, origin, fresh = number + 1, item.sample_index + first, False
            size = item.encoding.components
            yield replace(
                item,
                values=item.values[first * size : last * size],
                stretch=number,
                stretch_start_unix=item.stretch_start_unix + origin / item.sample_rate_hz,
                sample_index=item.sample_index + first - origin,
            )
    if pending:
        yield pending


def _runs(block: Block, cell: int) -> Iterator[tuple[int, int, bool]]:
    """Yield first sample, end and verdict of each run of good or of lost cells."""
    low, high = block.values.min(), block.values.max()
    if low >= -LIMIT and high <= LIMIT:
        yield 0, block.n_samples, True
        return
    size = block.encoding.components
    by_sample = is_nonsense(block.values).reshape(-1, size).any(axis=1)
    edges = np.arange(0, block.n_samples, cell)
    yield from _joined(np.logical_or.reduceat(by_sample, edges), cell, block.n_samples)


def _padded_runs(block: Block, cell: int) -> Iterator[tuple[int, int, bool]]:
    """Yield the same for cells of one value; what is left at a block's end goes with the cell before it."""
    samples = block.values.reshape(-1, block.encoding.components)
    n_cells = max(1, block.n_samples // cell)
    begins = np.arange(n_cells) * cell
    # Mostly the middle or the end of a cell differs from its beginning already.
    lost = np.ones(n_cells, dtype=bool)
    for place in (cell // 2, cell - 1, 1):
        lost &= (samples[np.minimum(begins + place, block.n_samples - 1)] == samples[begins]).all(axis=1)
        if not lost.any():
            yield 0, block.n_samples, True
            return
    for number in np.flatnonzero(lost):
        part = samples[begins[number] : begins[number] + cell]
        lost[number] = len(part) == cell and bool((part == part[0]).all())
    yield from _joined(lost, cell, block.n_samples)


def _joined(lost: NDArray[np.bool_], cell: int, n_samples: int) -> Iterator[tuple[int, int, bool]]:
    changes = [0, *(np.flatnonzero(np.diff(lost)) + 1), len(lost)]
    for begin, end in pairwise(changes):
        last = n_samples if end == len(lost) else int(end) * cell
        yield int(begin) * cell, last, not bool(lost[begin])
