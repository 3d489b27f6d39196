import numpy as np
import pytest

from skyglint.fm.mean_offset import USEFUL_BELOW_HZ
from skyglint.station.accuracy.fm_doppler import measure_fm_doppler


@pytest.fixture(scope="module")
def cells():
    measured = measure_fm_doppler(8, 11, levels_db=(10.0, 20.0), lengths_s=(0.3, 1.0, 2.0))
    return {(cell.programme, cell.duration_s, cell.snr_db): cell for cell in measured}


def test_the_stated_errors_are_true(cells):
    within = [cell.within_95 for cell in cells.values() if cell.given > 0]
    weight = [cell.bursts * cell.given for cell in cells.values() if cell.given > 0]
    assert np.average(within, weights=weight) >= 0.9  # of some 90 bursts, at 95 %


def test_nothing_is_stated_that_is_of_no_use(cells):
    assert all(cell.stated_sd_hz <= USEFUL_BELOW_HZ for cell in cells.values() if cell.given > 0)
    for programme in ("music", "speech"):  # a third of a second of programme scatters too much
        assert cells[programme, 0.3, 10.0].given <= 0.5


def test_without_a_programme_a_second_gives_the_shift_to_a_hertz(cells):
    cell = cells["silence", 1.0, 10.0]
    assert cell.given == 1.0
    assert cell.error_hz < 1.0
