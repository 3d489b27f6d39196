import numpy as np
import pytest

from skyglint.echoes.swell import floor_swell

STEP_S = 0.5


def test_a_floor_that_stands_still_has_no_swell():
    swell = floor_swell(np.full(600, 3.0) + 1e-4 * np.random.default_rng(1).standard_normal(600), STEP_S, 1.0)
    assert np.isinf(swell.ratio)


def test_an_aircraft_under_the_burst_is_seen_with_its_age():
    log_floor = np.zeros(600)
    log_floor[-60:] = np.log(1.5)
    swell = floor_swell(log_floor, STEP_S, 0.2)
    assert swell.raised == pytest.approx(0.5)
    assert swell.raised_s == pytest.approx(30.0)
    assert swell.ratio == pytest.approx(0.2 * 1.5 / 0.5)


def test_a_station_that_has_been_there_for_long_is_the_floor():
    log_floor = np.full(600, np.log(4.0))
    log_floor[:60] = 0.0
    assert np.isinf(floor_swell(log_floor, STEP_S, 1.0).ratio)


def test_the_first_step_of_a_stretch_has_nothing_to_compare():
    assert np.isinf(floor_swell(np.array([0.3]), STEP_S, 1.0).ratio)
