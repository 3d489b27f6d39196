import numpy as np
import pytest

from skyglint.station.accuracy.completeness import (
    carrier_completeness,
    decaying,
    fm_completeness,
    half_level,
    ideal_energy_snr_db,
    matched_filter_energy_db,
)


# Energy detection with TB = 2000 and 20000 (Urkowitz 1967): SNR for Pd 0.5 and 0.9, computed with SciPy's chi-square
# laws. The rate is chosen to give the false-alarm probability: rate * length / 3600.
@pytest.mark.parametrize(
    ("burst_s", "false_alarm", "half_db", "ninety_db"),
    [(0.01, 1e-4, -10.6811, -9.3174), (0.01, 1e-6, -9.5824, -8.4689), (0.1, 1e-8, -13.9567, -13.0380)],
)
def test_the_ideal_energy_detector_is_urkowitz(burst_s, false_alarm, half_db, ninety_db):
    rate = false_alarm * 3600 / burst_s
    assert ideal_energy_snr_db(burst_s, rate) == pytest.approx(half_db, abs=0.002)
    assert ideal_energy_snr_db(burst_s, rate, 0.9) == pytest.approx(ninety_db, abs=0.002)


# Tone of unknown phase (Marcum's Q): E/N0 for Pd 0.5 and 0.9 at a false-alarm probability of 1e-6.
def test_the_matched_filter_is_marcums_q():
    rate = 1e-6 * 3600 * 6000
    assert matched_filter_energy_db(rate) == pytest.approx(11.2426, abs=0.002)
    assert matched_filter_energy_db(rate, 0.9) == pytest.approx(13.1835, abs=0.002)


def test_the_half_level_of_a_normal_curve_is_its_middle():
    from scipy.stats import norm

    level = np.linspace(-3, 3, 13)
    assert half_level(level, norm.cdf(level, 0.4, 0.8)) == pytest.approx(0.4, abs=0.1)
    assert np.isnan(half_level(level, np.zeros(13)))


def test_bursts_2_db_above_the_ideal_limit_are_found_and_3_db_below_are_not():
    result = fm_completeness(0.2, 3, bursts=24, offsets_db=(-4.0, 2.0))
    assert result.found[0] <= 0.15
    assert result.found[1] >= 0.85


def test_decaying_tones_well_above_the_matched_filter_are_found():
    result = carrier_completeness(0.1, 3, bursts=10, offsets_db=(4.0,))
    assert result.found[0] >= 0.9


def test_planted_trails_have_the_decay_time_asked_for():
    from skyglint.station.accuracy.scenes import carrier_night

    night = carrier_night({"underdense": decaying(0.2, 50.0, 3, np.random.default_rng(1))}, 40.0, 1)
    assert [event.decay_time_s for event in night.truth.events] == pytest.approx([0.2] * 3, rel=0.01)
