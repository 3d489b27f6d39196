"""Arithmetic of spans of time: arrays of half-open segments ``[start, end)``, shape (n, 2), in POSIX seconds.

Every function takes segments in any order, overlapping or empty, and returns them sorted, disjoint and joined where
they touch: no moment is counted twice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from skyglint.store.records import CoverageSpan, CoverageState

Segments = NDArray[np.float64]


def union(*parts: ArrayLike) -> Segments:
    """Return the time that lies in any of the segments of any part."""
    segments = np.concatenate([np.asarray(part, dtype=np.float64).reshape(-1, 2) for part in parts])
    segments = segments[segments[:, 1] > segments[:, 0]]
    if not len(segments):
        return segments
    segments = segments[np.argsort(segments[:, 0], kind="stable")]
    latest_end = np.maximum.accumulate(segments[:, 1])
    begins = np.concatenate([[True], segments[1:, 0] > latest_end[:-1]])
    last = np.concatenate([np.flatnonzero(begins)[1:] - 1, [len(segments) - 1]])
    return np.column_stack([segments[begins, 0], latest_end[last]])


def intersection(one: ArrayLike, other: ArrayLike) -> Segments:
    """Return the time that lies in both."""
    return _combine(one, other, np.logical_and)


def difference(one: ArrayLike, other: ArrayLike) -> Segments:
    """Return the time that lies in the first and not in the second."""
    return _combine(one, other, lambda in_one, in_other: in_one & ~in_other)


def livetime_s(segments: ArrayLike) -> float:
    """Return the total time of the segments, overlaps once."""
    return float(np.diff(union(segments), axis=1).sum())


def livetime_by_bin_s(segments: ArrayLike, edges_unix: ArrayLike) -> NDArray[np.float64]:
    """Return the time of the segments within each bin; ``n + 1`` rising edges give shape (n,)."""
    disjoint = union(segments)
    edges = np.asarray(edges_unix, dtype=np.float64)
    if not len(disjoint):
        return np.zeros(len(edges) - 1)
    # The time passed within segments rises along each of them and rests between.
    lengths = np.diff(disjoint, axis=1).ravel()
    passed = np.column_stack([np.cumsum(lengths) - lengths, np.cumsum(lengths)]).ravel()
    by_bin: NDArray[np.float64] = np.diff(np.interp(edges, disjoint.ravel(), passed))
    return by_bin


def segments_of(spans: Iterable[CoverageSpan], channel: str, state: CoverageState = "watched") -> Segments:
    """Return the time during which a channel was in a state, whatever number of recordings says so."""
    return union([(span.start_unix, span.end_unix) for span in spans if (span.channel, span.state) == (channel, state)])


def _combine(
    one: ArrayLike, other: ArrayLike, keep: Callable[[NDArray[np.bool_], NDArray[np.bool_]], NDArray[np.bool_]]
) -> Segments:
    first, second = union(one), union(other)
    edges = np.unique(np.concatenate([first.ravel(), second.ravel()]))
    starts = edges[:-1]
    kept = keep(_contains(first, starts), _contains(second, starts))
    return union(np.column_stack([starts, edges[1:]])[kept])


def _contains(disjoint: Segments, moments: NDArray[np.float64]) -> NDArray[np.bool_]:
    # A moment lies inside when one more segment has begun than has ended.
    begun = np.searchsorted(disjoint[:, 0], moments, side="right")
    ended = np.searchsorted(disjoint[:, 1], moments, side="right")
    return begun > ended
