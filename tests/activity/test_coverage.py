"""Segment arithmetic against the plainest twin there is: one boolean for each second."""

import itertools

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from skyglint.activity.coverage import (
    difference,
    intersection,
    livetime_by_bin_s,
    livetime_s,
    segments_of,
    union,
)
from skyglint.store import CoverageSpan

LENGTH = 60
segments = st.lists(st.tuples(st.integers(0, LENGTH), st.integers(0, LENGTH)).map(sorted), max_size=8)


def seconds(parts):
    on = np.zeros(LENGTH, dtype=bool)
    for start, end in parts:
        on[int(start) : int(end)] = True
    return on


def is_sorted_and_apart(found):
    flat = np.ravel(found)
    return (np.diff(flat) > 0).all()


@given(segments, segments)
def test_arithmetic_agrees_with_seconds(one, other):
    for function, plain in (
        (union, np.logical_or),
        (intersection, np.logical_and),
        (difference, lambda a, b: a & ~b),
    ):
        found = function(one, other)
        assert found.shape[1] == 2
        assert is_sorted_and_apart(found)
        np.testing.assert_array_equal(seconds(found), plain(seconds(one), seconds(other)))


@given(segments)
def test_no_moment_is_counted_twice(parts):
    assert livetime_s(parts) == seconds(parts).sum()
    assert livetime_s([*parts, *parts]) == livetime_s(parts)


@given(segments, st.lists(st.integers(-5, LENGTH + 5), min_size=2, max_size=9, unique=True).map(sorted))
def test_time_by_bin_agrees_with_seconds(parts, edges):
    found = livetime_by_bin_s(parts, edges)
    on = np.pad(seconds(parts), 5)
    expected = [on[start + 5 : end + 5].sum() for start, end in itertools.pairwise(edges)]
    np.testing.assert_allclose(found, expected, atol=1e-9)


def test_it_keeps_milliseconds_at_todays_times():
    start = 1_786_586_400.123
    parts = [(start + k, start + k + 0.5) for k in range(7200)]
    np.testing.assert_allclose(livetime_by_bin_s(parts, [start, start + 3600, start + 7200]), 1800.0, atol=1e-3)


def test_two_recordings_of_the_same_time_cover_it_once():
    spans = [
        CoverageSpan("north-sea", 0.0, 100.0, "watched"),
        CoverageSpan("north-sea", 50.0, 120.0, "watched"),
        CoverageSpan("north-sea", 110.0, 115.0, "lost", "receiver lost"),
        CoverageSpan("quiet", 0.0, 500.0, "watched"),
    ]
    assert segments_of(spans, "north-sea").tolist() == [[0.0, 120.0]]
    assert segments_of(spans, "north-sea", "lost").tolist() == [[110.0, 115.0]]
    assert segments_of(spans, "nowhere").shape == (0, 2)
