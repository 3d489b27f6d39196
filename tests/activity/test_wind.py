import numpy as np
import pytest

from skyglint.activity.wind import bisector_speed_m_s, doppler_by_hour, wind_by_hour


@pytest.mark.parametrize(
    ("doppler_hz", "phi_deg"),
    # 50 m/s along the bisector at 100 MHz, layer at 95 km over the middle of 300, 500, 800, 1200 and 1800 km: standard
    # bistatic result, derived from the triangle on a sphere of 6371 km.
    [(18.0835, 57.1713), (12.3808, 68.2124), (8.6666, 74.9407), (6.7204, 78.3769), (5.8028, 79.9816)],
)
def test_speed_along_the_bisector(doppler_hz, phi_deg):
    assert float(bisector_speed_m_s(doppler_hz, 100e6, phi_deg)) == pytest.approx(50.0, abs=0.01)


def test_mean_of_equal_errors_is_the_plain_mean():
    found = doppler_by_hour([6.2, 6.5, 6.9, 30.4], [1.0, 2.0, 3.0, 9.0], 5.0)
    assert found.mean_hz[6] == pytest.approx((1 + 2 + 3 + 9) / 4)
    assert found.echoes[6] == 4
    assert np.isnan(found.mean_hz[7])
    assert found.hour[6] == 6.5


def test_scatter_between_echoes_widens_the_error():
    generator = np.random.default_rng(1)
    n = 4000
    hour, sd = generator.uniform(0, 24, n), generator.uniform(0.5, 2.0, n)
    true = 3.0 * np.sin(2 * np.pi * hour / 12)
    shift = true + generator.normal(0, 4.0, n) + generator.normal(0, sd)
    found = doppler_by_hour(hour, shift, sd)
    assert np.median(found.scatter_hz) == pytest.approx(4.0, rel=0.1)
    pull = (found.mean_hz - 3.0 * np.sin(2 * np.pi * found.hour / 12)) / found.mean_sd_hz
    assert np.mean(np.abs(pull) < 1) > 0.5
    assert np.abs(pull).max() < 4


def test_echoes_without_a_shift_are_left_out():
    found = doppler_by_hour([1.5, 1.5, 1.5], [1.0, np.nan, 1.0], [0.1, 0.1, 0.0])
    assert found.echoes[1] == 1
    assert np.isnan(found.mean_hz[1])
    assert doppler_by_hour([], [], []).echoes.sum() == 0


def test_drift_through_the_day_less_its_mean():
    # A tide of 50 m/s on a path of 800 km at 100 MHz shifts by 8.6666 Hz (the triangle above); the transmitter is 40 Hz
    # off, which the mean of the day takes away.
    hour = np.repeat(np.arange(24) + 0.5, 40)
    tide = np.cos(2 * np.pi * hour / 12)
    found = wind_by_hour(doppler_by_hour(hour, 40.0 + 8.6666 * tide, 0.5), 100e6, 800.0)
    np.testing.assert_allclose(found.speed_m_s, 50.0 * tide[::40], atol=0.05)
    assert found.speed_sd_m_s[0] == pytest.approx(0.5 / np.sqrt(40) * 50 / 8.6666, rel=0.01)
    assert np.isnan(wind_by_hour(doppler_by_hour([], [], []), 100e6, 800.0).speed_m_s).all()
