import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.simulate.arrival import Arrival, sum_at
from skyglint.simulate.other_envelopes import burst, satellite


def test_outside_its_time_it_is_zero():
    gain = burst(1.0, 0.5, 0.0).at(0.0, 0.01, 300)
    seconds = np.arange(300) * 0.01
    np.testing.assert_array_equal(gain[(seconds < 0.999) | (seconds > 1.501)], 0)
    np.testing.assert_array_equal(np.abs(gain[(seconds > 1.001) & (seconds < 1.499)]), 1)


@given(st.floats(0.1, 100), st.floats(1e-4, 0.1))
def test_scaled_sets_the_power_of_the_strongest_frame(power, step_s):
    shape = np.abs(np.sin(np.arange(400) / 20)).astype(np.complex64)
    assert Arrival(0.0, step_s, shape).scaled(power).peak_power() == pytest.approx(power, rel=1e-4)


def test_a_spike_shorter_than_a_frame_counts_by_its_mean_over_10_ms():
    gain = np.zeros(200, dtype=np.complex64)
    gain[100] = 2.0  # 1 ms of power 4
    assert Arrival(0.0, 0.001, gain).peak_power() == pytest.approx(0.4)


def test_phase_is_the_integral_of_the_shift():
    arrival = satellite(0.0, 60.0, 2000.0)
    knots = np.arange(len(arrival.doppler_hz)) * arrival.step_s
    step = 1e-5
    for start in (3.0, 29.9, 51.0):
        gain = arrival.at(start, step, 5000)
        frequency = np.angle(gain[1:] * gain[:-1].conj()) / (2 * np.pi * step)
        expected = np.interp(start + (np.arange(4999) + 0.5) * step, knots, arrival.doppler_hz)
        np.testing.assert_allclose(frequency, expected, atol=2.0)


def test_pieces_join():
    arrival = satellite(0.0, 10.0, 500.0)
    whole = arrival.at(1.0, 0.001, 2000)
    np.testing.assert_allclose(whole[1200:], arrival.at(1.0 + 1200 * 0.001, 0.001, 800), atol=1e-3)


def test_sum_of_arrivals():
    both = [burst(0.0, 1.0, 0.0), burst(0.5, 1.0, 0.0)]
    np.testing.assert_allclose(sum_at(both, 0.2, 0.5, 3), [1, 2, 1])
    assert sum_at(both, 3.0, 0.1, 5) is None
