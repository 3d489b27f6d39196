"""Horizons against plane trigonometry evaluated by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.path.horizon import bulge_m, hidden_m, horizon_distance_m, line_of_sight_m, lowest_visible_height_m

FOUR_THIRDS_M = 8_494_667.0
EARTH_M = 6_371_000.0


@pytest.mark.parametrize(
    ("height", "geometric", "radio"),
    [(2, 5.0482, 5.8291), (10, 11.2880, 13.0343), (150, 43.7184, 50.4817), (1000, 112.8805, 130.3431)],
)
def test_distance_to_the_horizon(height, geometric, radio):
    assert horizon_distance_m(height) / 1e3 == pytest.approx(geometric, abs=1e-3)
    assert horizon_distance_m(height, FOUR_THIRDS_M) / 1e3 == pytest.approx(radio, abs=1e-3)


def test_bulge():
    assert bulge_m(50e3, 50e3, FOUR_THIRDS_M) == pytest.approx(147.151, abs=0.01)
    assert bulge_m(50e3, 50e3) == pytest.approx(196.202, abs=0.01)
    # The trade's rule d1 d2 / 17 (km, m), common practice.
    assert bulge_m(20e3, 80e3, FOUR_THIRDS_M) == pytest.approx(20 * 80 / 17, abs=0.1)


@pytest.mark.parametrize(
    ("distance", "true_0", "true_10", "radio_0", "radio_10"),
    [
        (100, 0.7849, 0.6177, 0.5886, 0.4452),
        (300, 7.0698, 6.5473, 5.3002, 4.8494),
        (1000, 79.2944, 77.4963, 59.2023, 57.6603),
        (1500, 180.7539, 177.9807, 134.1788, 131.8270),
    ],
)
def test_lowest_visible_height(distance, true_0, true_10, radio_0, radio_10):
    found = [
        float(lowest_visible_height_m(distance * 1e3, height, radius)) / 1e3
        for radius in (EARTH_M, FOUR_THIRDS_M)
        for height in (0, 10)
    ]
    assert found == pytest.approx([true_0, true_10, radio_0, radio_10], abs=1e-3)


def test_hidden_depth_has_a_sign():
    # 500 km, both on the ground at 4/3 Earth: 14.7364 km hidden; a mast of 300 m takes 300 m off.
    assert hidden_m(500e3, 300.0, 0.0, FOUR_THIRDS_M) == pytest.approx(14736.4 - 300, abs=1)
    assert hidden_m(20e3, 300.0, 100.0) == -300.0


def test_terrain_raises_what_is_hidden():
    # A ridge at 2 degrees: at 50 km the grazing ray is 50 km x tan 2 deg = 1746 m up, plus a drop of 196 m.
    assert lowest_visible_height_m(50e3, 10.0, EARTH_M, 2.0) == pytest.approx(1746 + 196 + 10, abs=6)
    assert lowest_visible_height_m(50e3, 10.0, EARTH_M, -5.0) == lowest_visible_height_m(50e3, 10.0, EARTH_M)


@given(st.floats(1, 2000), st.floats(1, 2000))
def test_two_heights_see_each_other_up_to_their_line_of_sight(height1, height2):
    limit = line_of_sight_m(height1, height2, EARTH_M)
    # The square law of the horizon and the exact shadow differ by h^2/2a.
    slack = (height1**2 + height2**2) / EARTH_M + 1e-3
    assert abs(hidden_m(limit, height1, height2)) < slack
    assert np.sign(hidden_m(limit * 1.05 + 1e3, height1, height2)) == 1
