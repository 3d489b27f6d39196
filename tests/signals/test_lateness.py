"""The least lateness in a sliding window, against the plain definition."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.signals.lateness import Lateness, start_of


@given(st.lists(st.floats(-5, 5), min_size=1, max_size=60), st.integers(1, 12))
def test_it_is_the_minimum_of_the_window(latenesses, window):
    lateness = Lateness(float(window))
    for at, late_s in enumerate(latenesses):
        found = lateness.add(float(at), late_s)
        expected = min(latenesses[max(0, at - window + 1) : at + 1])
        assert found == (None if at < window else expected)


def test_the_first_sample_is_timed_by_the_arrival_that_was_least_late():
    arrivals = [(100, 1000.9), (200, 1000.25), (300, 1000.31)]
    assert start_of(arrivals, 1000.0) == pytest.approx(1000.01)
