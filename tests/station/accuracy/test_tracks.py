import numpy as np

from skyglint.station.accuracy.tracks import measure_chance, measure_tracks


def test_beacons_are_found_at_20_db_hz_and_measured_as_stated():
    (cell,) = measure_tracks(4, 3, frequencies_hz=(137.1e6,), levels_db_hz=(20.0,))
    assert cell.detected == 1.0
    assert cell.time_score < 2.5
    assert cell.frequency_score < 2.5
    assert cell.time_sd_s < 0.01


def test_chance_is_as_rare_as_stated():
    chances = measure_chance(12, 4)
    assert chances.shape == (12,)
    assert np.count_nonzero(chances < 0.01) <= 1
    assert chances.min() > 1e-4
