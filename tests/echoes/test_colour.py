import numpy as np

from skyglint.echoes.colour import burst_colour
from skyglint.echoes.weights import programme_spectrum

OFFSETS_HZ = (np.arange(100) - 49.5) * 2000.0
NOISE = np.linspace(1.0, 2.0, 100)
SPECTRUM = programme_spectrum(OFFSETS_HZ)


def colour_of(mean, usable=None):
    drawn = mean * np.random.default_rng(3).gamma(19.0, 1 / 19.0, (30, 100))
    usable = np.ones(100, dtype=bool) if usable is None else usable
    return burst_colour(drawn.astype(np.float32), NOISE, SPECTRUM, usable, OFFSETS_HZ, 19.0)


def test_a_programme_looks_like_one():
    colour = colour_of(NOISE + 100 * SPECTRUM)
    assert colour.programme > 0.9
    assert colour.programme > colour.flat
    assert colour.line_share < 0.15


def test_a_gain_step_lifts_everything_alike():
    colour = colour_of(NOISE * 1.26)
    assert colour.flat > 0.8
    assert colour.flat > colour.programme


def test_a_line_is_told_with_its_place():
    mean = NOISE.copy()
    mean[80] += 50.0
    colour = colour_of(mean)
    assert colour.line_share > 0.9
    assert abs(colour.line_offset_hz - OFFSETS_HZ[80]) <= 2000.0


def test_a_spike_in_an_unusable_bin_is_not_seen():
    mean = NOISE + 100 * SPECTRUM
    mean[50] += 1e4
    usable = np.ones(100, dtype=bool)
    usable[50] = False
    assert colour_of(mean, usable).programme > 0.9
