from skyglint.station.accuracy.measurements import carrier_scatter, overdense_timing, underdense_timing


def test_starts_and_lengths_of_trails_are_right():
    under, over = underdense_timing(4, 16), overdense_timing(4, 12)
    assert under.found >= 15
    assert over.found >= 11
    assert max(under.start_error_s, over.start_error_s) <= 0.02
    assert over.duration_error <= 0.15
    assert max(under.split_share, over.split_share, under.merged_share, over.merged_share) <= 0.09


def test_decay_and_doppler_of_a_carrier_are_near_their_bounds():
    scatter = carrier_scatter(0.1, 50.0, 4, 12)
    assert scatter.measured >= 0.9
    assert scatter.decay_ratio < 2.2  # of 12 echoes the standard deviation is known to 21 %
    assert scatter.doppler_ratio < 2.2
