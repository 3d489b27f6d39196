import numpy as np
import pytest

from skyglint.report.thinning import thinned


def test_the_largest_of_each_group_survives_wherever_it_stands():
    values = np.zeros(1000, dtype=np.float32)
    values[617] = 30.0
    short, size = thinned(values, 60, np.nanmax)
    assert (len(short), size) == (59, 17)
    assert short[617 // 17] == 30.0
    assert short.sum() == 30.0


def test_gaps_stay_gaps_and_do_not_spoil_their_neighbours():
    short, _ = thinned(np.array([np.nan, np.nan, 1.0, np.nan, 3.0]), 3, np.nanmax)
    np.testing.assert_array_equal(short, [np.nan, 1.0, 3.0])


@pytest.mark.parametrize("n", [0, 1, 5])
def test_a_short_series_is_left_alone(n):
    values = np.arange(n, dtype=np.float32)
    short, size = thinned(values, 5, np.nanmedian)
    assert size == 1
    np.testing.assert_array_equal(short, values)
