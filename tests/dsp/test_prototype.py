"""The window of the bank: energy, leakage and scatter, against Parseval's theorem and the classical measures."""

import numpy as np
import pytest

from skyglint.dsp.prototype import independent_samples, prototype_window


def test_energy_is_that_of_one_bin():
    # Parseval: bins of white noise add up to its power when the window's energy is one over their number.
    assert np.sum(prototype_window(1200) ** 2) == pytest.approx(1 / 1200)


def test_leakage():
    n = 600
    response = np.abs(np.fft.fft(prototype_window(n), 32 * n)) ** 2
    level_db = 10 * np.log10(response / response[0])
    assert level_db[3 * 32 : 16 * n].max() < -90
    assert level_db[10 * 32 : 16 * n].max() < -110


def test_scatter_is_close_to_the_ideal_of_one_sample_a_hop_and_bin():
    effective = independent_samples(prototype_window(1200), 1200, 20)
    assert 17.5 < effective < 20.0


def test_unwindowed_hops_are_ideal():
    # A rectangular window one hop long keeps all hops and bins independent: N samples for N hops.
    window = np.zeros(4 * 64)
    window[:64] = 1 / 64
    assert independent_samples(window, 64, 20) == pytest.approx(20.0)
