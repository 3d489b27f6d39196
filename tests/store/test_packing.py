"""Levels survive packing within half a quantisation step, and "not measured" survives exactly."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from skyglint.store.packing import FLOOR_SCALE, STRIP_SCALE, fit_scale

levels = arrays(
    np.float32,
    st.integers(0, 300),
    elements=st.one_of(st.floats(-8.0, 55.5, width=32), st.just(np.float32("nan"))),
)
half_a_step_db = 0.125


@given(levels)
def test_strip_levels_come_back_within_half_a_step(level_db):
    back = STRIP_SCALE.unpack(STRIP_SCALE.pack(level_db))
    assert back.shape == level_db.shape
    np.testing.assert_array_equal(np.isnan(back), np.isnan(level_db))
    assert np.nanmax(np.abs(back - level_db), initial=0.0) <= half_a_step_db


@given(arrays(np.float32, 50, elements=st.floats(-200, 100, width=32)))
def test_floors_come_back_within_half_a_hundredth_of_a_decibel(level_db):
    back = FLOOR_SCALE.unpack(FLOOR_SCALE.pack(level_db))
    assert np.max(np.abs(back - level_db)) <= 0.005 + 2e-5  # the second term is what float32 resolves at 200 dB


@given(arrays(np.float32, (7, 9), elements=st.floats(-80, 80, width=32)))
def test_a_fitted_scale_holds_every_level(level_db):
    scale = fit_scale(level_db)
    back = scale.unpack(scale.pack(level_db)).reshape(level_db.shape)
    assert np.max(np.abs(back - level_db)) <= scale.step_db / 2 + 2e-5


def test_levels_beyond_the_scale_take_its_ends():
    back = STRIP_SCALE.unpack(STRIP_SCALE.pack([-np.inf, -30.0, 70.0, np.inf]))
    assert back.tolist() == [-8.0, -8.0, 55.5, 55.5]


def test_a_fitted_scale_of_nothing_measured_gives_nothing_measured():
    empty = np.full(5, np.nan, dtype=np.float32)
    scale = fit_scale(empty)
    assert np.isnan(scale.unpack(scale.pack(empty))).all()
