"""The faintest trail that counts, against detection theory and hand-evaluated powers."""

import numpy as np
import pytest
from scipy import stats

from skyglint.path.geometry import TrailGeometry
from skyglint.path.trails import TRANSITION_PER_M
from skyglint.plan.sensitivity import SHARES, least_power_w, noise_density_w_hz, trails_counted


def test_power_detector_finds_half_the_bursts():
    # Urkowitz 1967: energy of N independent samples, noise only chi-square with 2N degrees of freedom, with signal
    # non-central; at the SNR of the mean over the decay time half are found at a false-alarm probability of 1e-6.
    decay, width = 0.1, 200e3
    count = int(decay * width)
    peak = float(least_power_w("fm", 1.0, width, decay)) / width
    mean = peak * (1 - np.exp(-2)) / 2
    threshold = stats.chi2.isf(1e-6, 2 * count)
    assert stats.ncx2.sf(threshold, 2 * count, 2 * count * mean) == pytest.approx(0.5, abs=0.1)


def test_matched_filter_finds_half_the_tones():
    # Unknown phase: Pd = Q1(sqrt(2E/N0), sqrt(-2 ln Pfa)); a decaying echo's energy is its peak power times tau/2.
    decay = 0.2
    energy = float(least_power_w("carrier", 1.0, 6e3, decay)) * decay / 2
    assert stats.ncx2.sf(-2 * np.log(1e-6), 2, 2 * energy) == pytest.approx(0.5, abs=0.02)


def test_noise_density():
    # 98 MHz, residential 17.343 dB, galaxy 6.202 dB (ITU-R P.372-16), 6 dB receiver: 17.882 dB over -173.975 dBm/Hz.
    assert 10 * np.log10(noise_density_w_hz(98e6, "residential", 6.0)) + 30 == pytest.approx(-156.093, abs=0.01)


def geometry():
    return TrailGeometry(*(np.array([[x]]) for x in (611_656.0, 611_656.0, 78.3769, 90.0)))


def test_counts_go_as_the_root_of_power_for_underdense_trails_and_faster_beyond():
    strong, stronger, weak, weaker = (
        float(trails_counted(np.array([[p]]), 100e6, geometry(), "fm", 200e3, 1e-19)[0, 0])
        for p in (1e9, 4e9, 1e4, 1e3)
    )
    assert stronger / strong == pytest.approx(2.0, rel=0.02)
    assert 9 < weak / weaker < 101
    assert weak < 1 / TRANSITION_PER_M < strong


def test_limit_is_that_of_the_radar_equation():
    # 100 kW EIRP, isotropic, q = 1e13 across the plane gives -135.286 dBm before losses (1200 km, 100 MHz, by hand).
    # Where the needed power and losses are tiny multiples of that, the count is 1e-13 scaled by their root.
    floor = 1e-22
    count = float(trails_counted(np.array([[1e5]]), 100e6, geometry(), "carrier", 6e3, floor)[0, 0])
    received = 10 ** (-135.286 / 10 - 3)
    needed = least_power_w("carrier", floor, 6e3, [1.12665, 0.52094, 0.24087, 0.11138, 0.05150])
    # Radius losses of CCIR Report 251-5 at 85 to 105 km; formation of 2 x 957.52 m at 40 km/s.
    radius = np.array([0.1738, 0.3890, 0.8709, 1.9497, 4.3648])
    x = 2 * 957.52 / 40e3 / np.array([1.12665, 0.52094, 0.24087, 0.11138, 0.05150])
    loss = 10 ** (radius / 10) / ((1 - np.exp(-x)) / x) ** 2
    assert count == pytest.approx(np.sum(SHARES / (1e13 * np.sqrt(needed * loss / received))), rel=0.01)
