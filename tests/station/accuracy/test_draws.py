import numpy as np
import pytest

from skyglint.station.accuracy.confusion import CARRIER_CLASSES, FM_CLASSES
from skyglint.station.accuracy.draws import crossing, plant, shift_rate_hz_s


def test_the_shift_of_a_crossing_falls_as_the_sum_of_two_distances_bends():
    # 250 m/s at right angles over the middle of 300 km, 10 s about the baseline, by differences of the exact distances.
    t = np.linspace(-5, 5, 11)
    length_m = 2 * np.hypot(150e3, 250.0 * t)
    rate = -np.diff(length_m, 2).mean() * 100e6 / 299_792_458.0
    assert shift_rate_hz_s((150e3, 150e3), 250.0, 90.0, 100e6) == pytest.approx(-rate, rel=1e-3)


def test_a_crossing_beats_as_fast_as_its_lobe_allows_wherever_it_is():
    # Over the middle and near one end alike, the edge of the lobe passes where it beats at v / L.
    for distances_m in ((150e3, 150e3), (30e3, 400e3)):
        flight = crossing(240.0, shift_rate_hz_s(distances_m, 240.0, 90.0, 100e6), 40.0)
        assert flight.doppler_hz == pytest.approx(6.0)
        assert flight.doppler_hz - flight.rate_hz_s * flight.duration_s == pytest.approx(-6.0)


@pytest.mark.parametrize(("kind", "classes"), [("fm", FM_CLASSES), ("carrier", CARRIER_CLASSES)])
def test_every_class_is_planted_as_often_as_asked_and_within_the_night(kind, classes):
    for name in classes:
        planted = plant(name, 9, (40.0, 50.0), kind, np.random.default_rng(1))
        rows = [row for table in planted.tables.values() for row in table]
        assert len(rows) == 9
        assert max(row["start_s"] + row.get("duration_s", 0.0) for row in rows) < planted.duration_s


def test_openings_bring_in_several_stations():
    planted = plant("ducting", 40, (0.0, 10.0), "fm", np.random.default_rng(2))
    starts = np.sort([row["start_s"] for row in planted.tables["ducting"]])
    assert (np.diff(starts) < 60).sum() > 10
