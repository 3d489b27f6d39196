import numpy as np
import pytest

from skyglint.simulate.comb import line_arrival, line_frequencies_hz
from skyglint.simulate.events import Comb

COMB = Comb(start_s=2.0, duration_s=5.0, peak_snr_db=10.0, spacing_hz=65_000.0, drift_hz_s=30.0)


def test_lines_are_multiples_of_the_spacing():
    lines = line_frequencies_hz(COMB, 97.9e6, 98.1e6)
    assert lines == [65_000.0 * number for number in (1507, 1508, 1509)]
    assert line_frequencies_hz(COMB, 97.96e6, 97.97e6) == []


def test_a_line_pulses_twice_a_mains_cycle_and_drifts():
    arrival = line_arrival(COMB)
    assert (arrival.start_s, arrival.end_s) == (2.0, pytest.approx(7.0))
    power = np.abs(arrival.gain) ** 2
    frequency = np.fft.rfftfreq(len(power), arrival.step_s)
    assert frequency[np.argmax(np.abs(np.fft.rfft(power - power.mean())))] == pytest.approx(100, abs=0.5)
    assert arrival.doppler_hz[-1] == pytest.approx(150)
    assert arrival.peak_power() == pytest.approx(10.0, rel=1e-3)
