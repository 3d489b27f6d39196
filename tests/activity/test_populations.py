import numpy as np
import pytest

from skyglint.activity.mass_index import completeness_limit, mass_index_from_durations
from skyglint.activity.populations import amplitudes_of, mass_index_of_all
from skyglint.echoes.echo import Echo
from skyglint.store import StoredEcho


def underdense(channel, slope, n, seed, lowest_db):
    peaks = lowest_db - 20.0 / slope * np.log10(np.random.default_rng(seed).random(n))
    return [
        StoredEcho(k, 1, Echo(channel, float(k), 0.2, float(k), float(p), 0.1, "underdense"))
        for k, p in enumerate(peaks)
    ]


def test_channels_of_different_limits_make_one_index():
    # N(> A) ~ A^-(s - 1) (McKinley 1961): the truth is put in as the slope.
    parts = [
        amplitudes_of(name, underdense(name, 1.0, 800, k, low))
        for k, (name, low) in enumerate([("a", -9.0), ("b", 31.0)])
    ]
    found = mass_index_of_all(parts)
    assert found.low_95 < 2.0 < found.high_95
    assert found.echoes > 1000


def test_a_channel_with_too_few_echoes_takes_no_part():
    few = amplitudes_of("a", underdense("a", 1.0, 12, 3, 0.0))
    many = amplitudes_of("b", underdense("b", 1.0, 500, 4, 0.0))
    assert np.isnan(few.lowest)
    assert mass_index_of_all([few, many]) == mass_index_of_all([many])
    assert np.isnan(mass_index_of_all([]).mass_index)


@pytest.mark.parametrize("n", [400, 6000])
def test_durations_that_wind_and_chemistry_cut_still_have_a_limit(n):
    # Echoes beyond 10 s end early, all at about 12 s: without the cut no lower limit would look like a power law.
    generator = np.random.default_rng(5)
    durations = np.minimum(0.6 / generator.random(n), 12.0 + 0.1 * generator.random(n))
    found = durations[generator.random(n) < np.clip((durations - 0.6) / 0.3, 0, 1)]
    limit = completeness_limit(found, highest=10.0)
    assert 0.9 < limit < 1.6
    index = mass_index_from_durations(found, limit, 10.0)
    assert index.low_95 < 2.0 < index.high_95
