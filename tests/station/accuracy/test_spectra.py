from skyglint.station.accuracy.spectra import STATIONS, learning


def test_a_narrow_station_is_found_better_once_its_strong_echoes_have_taught_its_spectrum():
    result = learning(STATIONS["quiet speech in mono"][0], 3, rounds=12, level_db=-2.0)
    assert result.bursts == 48
    assert result.found_by_learnt >= result.found_by_model + 0.1


def test_a_programme_as_the_model_expects_it_loses_nothing():
    result = learning(STATIONS["speech"][0], 4, rounds=12, level_db=0.5)
    assert result.found_by_learnt >= result.found_by_model - 0.2  # two standard deviations of 48 bursts each
