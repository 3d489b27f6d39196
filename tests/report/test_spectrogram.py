import base64
import io

import numpy as np
import pytest
from PIL import Image

from skyglint.report import spectrogram


def decoded(png):
    return np.asarray(Image.open(io.BytesIO(png)).convert("L"))


def test_the_picture_has_the_highest_frequency_on_top_and_time_to_the_right():
    level = np.zeros((5, 3))
    level[4, 2] = 20.0
    picture = decoded(spectrogram.ink_png(level, 20.0))
    assert picture.shape == (3, 5)
    assert picture[0, 4] == 255
    assert picture.sum() == 255


def test_ink_grows_evenly_with_the_level_and_stops_at_both_ends():
    level = np.array([[-5.0, 0.0, 5.0, 10.0, 20.0, 35.0, np.nan]])
    picture = decoded(spectrogram.ink_png(level, 20.0))[::-1, 0]
    assert picture[[0, 1, 4, 5, 6]].tolist() == [0, 0, 255, 255, 0]
    assert picture[2] == pytest.approx(255 / 4, abs=255 / 15 / 2)
    assert picture[3] == pytest.approx(255 / 2, abs=255 / 15 / 2 + 1)


def test_pixels_carry_mean_power_and_not_mean_decibels():
    level = np.array([[0.0], [20.0]])
    assert spectrogram.shrink(level, 1, 1)[0, 0] == pytest.approx(10.0 * np.log10(50.5))
    rows = spectrogram.shrink(np.array([[0.0, 20.0, np.nan]]), 9, 2)
    np.testing.assert_allclose(rows[0], [10.0 * np.log10(50.5), np.nan])


def test_a_large_picture_is_made_to_fit():
    assert spectrogram.shrink(np.zeros((3200, 129)), 284, 64).shape == (267, 43)


def test_noise_stays_pale_and_a_strong_echo_sets_the_top():
    noise = np.random.default_rng(5).normal(0.0, 1.5, (400, 60))
    assert spectrogram.ink_top_db(noise) == spectrogram.LEAST_TOP_DB
    noise[:40] += 25.0
    assert 22.0 < spectrogram.ink_top_db(noise) < 32.0
    assert spectrogram.ink_top_db(np.full((2, 2), np.nan)) == spectrogram.LEAST_TOP_DB


def test_the_address_carries_the_picture():
    png = spectrogram.ink_png(np.ones((4, 4)), 12.0)
    kind, _, data = spectrogram.data_uri(png).partition(",")
    assert kind == "data:image/png;base64"
    assert base64.b64decode(data) == png
