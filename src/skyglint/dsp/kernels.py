"""The inner loops of the filter bank, plain (NumPy) and compiled (numba), with the same results.

The compiled twins are about twice as fast; where numba is not installed the plain ones serve. Both are public and a
test compares them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.prototype import FOLDS

#: The first part of each hop that enters the moments and the count of clipped values (an eighth): whole runs of
#: samples, so that the loops vectorise, spread evenly over the frame.
MOMENT_SHARE = 8
#: Hops that the plain kernel folds at a time: few enough for the processor's cache.
PLAIN_HOPS = 50


@dataclass(frozen=True, slots=True)
class Kernels:
    """The three inner loops.

    Attributes
    ----------
    fold
        ``fold(values, taps, bias, out)``: window and fold raw values, shape ((hops + FOLDS - 1) * width,), into
        ``out`` of shape (hops, width), width = floats a hop; ``taps`` has shape (FOLDS, width), ``bias`` (width,) is
        added to each hop.
    bin_power
        ``bin_power(transform, runs, image, hops, out)``: mean power of the wanted bins over each frame's hops;
        transform (frames * hops, n_bins), ``runs`` (n_runs, 2) first bin and number of bins of each unbroken run, out
        (frames, sum of the runs); with a non-zero ``image`` c, c * conj(X[-bin]) is taken off each bin first.
    moments
        ``moments(values, low_rail, high_rail)``: for raw values of shape (n_frames, hops, floats a hop) the sums of
        I, Q, I*I, Q*Q, I*Q over a share of each hop (``MOMENT_SHARE``), the number of pairs summed, and the number of
        values among them at or beyond the rails; shape (n_frames, 7).
    """

    fold: Callable[..., None]
    bin_power: Callable[..., None]
    moments: Callable[..., NDArray[np.float64]]


def runs_of(bins: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return first bin and length of each unbroken rising run in ``bins``, shape (n_runs, 2)."""
    breaks = np.flatnonzero(np.diff(bins) != 1) + 1
    starts = np.concatenate([[0], breaks]) if len(bins) else np.zeros(0, dtype=np.int64)
    lengths = np.diff(np.concatenate([starts, [len(bins)]]))
    return np.stack([bins[starts], lengths], axis=1).astype(np.int64)


def fold_plain(
    values: NDArray[Any], taps: NDArray[np.float32], bias: NDArray[np.float32], out: NDArray[np.float32]
) -> None:
    """Window and fold; see ``Kernels.fold``."""
    hops, width = out.shape
    raw = values.reshape(hops + FOLDS - 1, width)
    for first in range(0, hops, PLAIN_HOPS):
        part = out[first : first + PLAIN_HOPS]
        rows = raw[first : first + len(part) + FOLDS - 1].astype(np.float32)
        # One sum of products over FOLDS shifted views of the same rows: each value is read from the cache.
        shifted = np.lib.stride_tricks.as_strided(
            rows, (FOLDS, len(part), width), (rows.strides[0], *rows.strides), writeable=False
        )
        np.einsum("fhw,fw->hw", shifted, taps, out=part)
        part += bias


def bin_power_plain(
    transform: NDArray[np.complex64], runs: NDArray[np.int64], image: complex, hops: int, out: NDArray[np.float32]
) -> None:
    """Take the mean power of bins over hops; see ``Kernels.bin_power``."""
    frames, n_bins = len(out), transform.shape[1]
    column = 0
    for first, length in runs.tolist():
        wanted = transform[:, first : first + length]
        if image != 0:
            mirror = -np.arange(first, first + length) % n_bins
            wanted = (wanted - np.conj(transform[:, mirror]) * np.complex64(image)).astype(np.complex64)
        parts = wanted.reshape(frames, hops, length).view(np.float32)
        squares = np.einsum("fhk,fhk->fk", parts, parts)
        out[:, column : column + length] = (squares[:, 0::2] + squares[:, 1::2]) / hops
        column += length


def moments_plain(values: NDArray[Any], low_rail: float, high_rail: float) -> NDArray[np.float64]:
    """Return the sums over each frame; see ``Kernels.moments``."""
    frames, _, width = values.shape
    part = np.ascontiguousarray(values[:, :, : share_of(width)]).reshape(frames, -1)
    kind = part.dtype.type
    beyond = np.count_nonzero(part <= kind(low_rail), axis=1) + np.count_nonzero(part >= kind(high_rail), axis=1)
    i, q = part[:, 0::2].astype(np.float64), part[:, 1::2].astype(np.float64)
    products = [np.einsum("fn,fn->f", first, second) for first, second in ((i, i), (q, q), (i, q))]
    return np.stack([i.sum(axis=1), q.sum(axis=1), *products, np.full(frames, i.shape[1]), beyond], axis=1)


def share_of(width: int) -> int:
    """Return how many floats of a hop of ``width`` enter the moments: an even number, at least one pair."""
    return max(2, width // MOMENT_SHARE // 2 * 2)


PLAIN = Kernels(fold_plain, bin_power_plain, moments_plain)


def load_kernels(compiled: bool | None = None) -> Kernels:
    """Return the compiled kernels where numba is there, else the plain ones.

    Parameters
    ----------
    compiled
        ``True`` insists, ``False`` declines, ``None`` takes what is there.
    """
    if compiled is False:
        return PLAIN
    try:
        from skyglint.dsp.compiled import COMPILED
    except ImportError:
        if compiled:
            raise
        return PLAIN
    return COMPILED
