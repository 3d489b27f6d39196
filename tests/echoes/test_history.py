import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from skyglint.echoes.history import History, SpectraHistory


@given(st.lists(st.integers(1, 40), min_size=1, max_size=30))
def test_what_was_added_last_is_kept_in_order(sizes):
    history, spectra, end = History((2,), 25), SpectraHistory(25), 0
    for n in sizes:
        values = np.arange(end, end + n, dtype=float)
        history.append(np.stack([values, -values]))
        spectra.append((np.repeat(values[:, None], 3, axis=1).astype(np.float32),))
        end += n
        start = max(end - 25, 0)
        np.testing.assert_array_equal(history.view(start, end)[0], np.arange(start, end))
        np.testing.assert_array_equal(history.view(start, end)[1], -np.arange(start, end))
        np.testing.assert_array_equal(spectra.view(0, start, end)[:, 0], np.arange(start, end))
    assert history.end == end


def test_before_the_first_frame_stand_zeros():
    history = History((), 10)
    history.append(np.ones(3))
    np.testing.assert_array_equal(history.view(-4, 3), [0, 0, 0, 0, 1, 1, 1])
