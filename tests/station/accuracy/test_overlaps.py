import pytest

from skyglint.simulate.truth import TrueEvent
from skyglint.station.accuracy.overlaps import overlap_flags, second_adds


def trail(peak_unix, peak_snr_db):
    return TrueEvent("s", "s", peak_unix, 1.0, peak_unix, peak_snr_db, 1.0, "underdense", decay_time_s=0.2)


def test_what_the_second_adds_over_what_the_first_has_left():
    # After one decay time the power is down by 20 log10 e = 8.686 dB.
    assert second_adds(trail(0.0, 10.0), trail(0.2, 10.0 - 8.686)) == pytest.approx(1.0, rel=1e-3)
    assert second_adds(trail(0.0, 10.0), trail(0.2, 10.0)) == pytest.approx(10**0.8686, rel=1e-3)


@pytest.mark.parametrize(("kind", "count"), [("fm", 24), ("carrier", 12)])
def test_most_overlapping_pairs_are_told_and_few_single_trails(kind, count):
    found = overlap_flags(count, 3, kind)
    assert found.pairs >= 0.75 * count
    assert found.told >= 0.6
    assert found.singles_flagged <= 0.2
