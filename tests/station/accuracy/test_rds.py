import math

import pytest

from skyglint.station.accuracy.rds import (
    bit_error_rate,
    hard_decision_success,
    measure_errors,
    measure_success,
)


def test_error_rate_of_coherent_differential_detection():
    # Proakis, Digital Communications, ch. 5: binary PSK needs Eb/N0 = 9.59 dB for 1e-5; differential coding doubles it.
    c_n0_hz = 10 ** (9.588 / 10) * 1187.5 * 57e3**2 * 4 / 3200**2
    assert bit_error_rate(10 * math.log10(c_n0_hz / 200e3), 3200.0) == pytest.approx(2e-5, rel=0.02)


@pytest.mark.parametrize(("duration_s", "share"), [(0.03, 0.0), (0.05, 0.06), (0.08, 0.40), (0.1, 0.63)])
def test_whole_neighbours_without_noise(duration_s, share):
    # A block A and the B after it take 53 bits, 44.63 ms: (L - 44.63)/87.58 of the starts hold them whole. Any
    # neighbour doubles it, less the starts that hold both.
    both = max(0.0, duration_s * 1187.5 - 1 - 78) / 104
    assert hard_decision_success(60.0, duration_s, 3200.0) == pytest.approx(min(1.0, 2 * share - both), abs=0.03)


def test_success_at_the_promised_levels():
    cells = measure_success(16, 5, levels_db=(15.0, 20.0), lengths_s=(0.3,))
    assert cells[0].declared >= 0.9
    assert cells[1].blind >= 0.9


def test_no_wrong_answers():
    errors = measure_errors(60, 6)
    assert (errors.bursts, errors.wrong_codes, errors.wrong_confirmations) == (60, 0, 0)
