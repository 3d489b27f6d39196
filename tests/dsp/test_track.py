import numpy as np
import pytest
from scipy.stats import gumbel_r

from skyglint.dsp.straighten import hann_line, whitened
from skyglint.dsp.track import TrackDetection, TrackSearch, exceedance, find_track
from skyglint.dsp.track_fit import fit_track

BIN_HZ, ROW_S = 4.0, 0.5
TIMES = (np.arange(600) + 0.5) * ROW_S
SEARCH = TrackSearch(time_offset_s=4.0, frequency_offset_hz=200.0, drift_hz=30.0, trials=20)


def curve(times_s):
    """An S of the shape of a pass: +-2,600 Hz, steepest by 40 Hz/s at 150 s."""
    u = (times_s - 150.0) / 65.0
    return -2_600.0 * u / np.sqrt(1 + u**2)


def spectrogram(random, strength, late_s=0.0, offset_hz=0.0, drift_hz=0.0):
    """Exponential noise, and a Hann-shaped line of the given power over noise along the moved curve."""
    powers = random.standard_exponential((600, 301))
    if strength:
        shift = curve(TIMES - late_s) - curve(TIMES) + offset_hz + drift_hz * ((TIMES - 0.25) / 299.5 - 0.5)
        distance = np.arange(-150, 151) - shift[:, None] / BIN_HZ
        line = np.sinc(distance) / np.where(np.abs(np.abs(distance) - 1) < 1e-9, 1e9, 1 - distance**2)
        # Noise and line add as amplitudes.
        phase = np.exp(2j * np.pi * random.random((600, 1)))
        noise = np.sqrt(powers) * np.exp(2j * np.pi * random.random((600, 301)))
        powers = np.abs(noise + np.sqrt(strength) * line * phase) ** 2
    return whitened(powers.astype(np.float32))


@pytest.mark.parametrize("strength", [1.5, 6.0, 100.0])
def test_an_offset_source_is_found_and_measured(strength):
    random = np.random.default_rng([5, int(10 * strength)])
    late_s, offset_hz, drift_hz = -2.3, 131.0, 17.0
    level = spectrogram(random, strength, late_s, offset_hz, drift_hz)
    found = find_track(level, TIMES, BIN_HZ, curve, SEARCH, random)
    assert found.false_alarm_probability < 1e-3
    assert found.time_offset_s == pytest.approx(late_s, abs=3 * found.time_step_s)
    fit = fit_track(level, TIMES, BIN_HZ, curve, found)
    assert fit.time_offset_s == pytest.approx(late_s, abs=4 * fit.time_offset_sd_s)
    assert fit.frequency_offset_hz == pytest.approx(offset_hz, abs=4 * fit.frequency_offset_sd_hz)
    assert fit.drift_hz == pytest.approx(drift_hz, abs=4 * fit.drift_sd_hz)
    assert len(fit.times_s) == len(fit.residuals_hz) >= 6


def test_stated_errors_are_the_scatter():
    few = TrackSearch(SEARCH.time_offset_s, SEARCH.frequency_offset_hz, SEARCH.drift_hz, trials=3)
    scores = []
    for seed in range(30):
        random = np.random.default_rng([6, seed])
        late_s, offset_hz = random.uniform(-3, 3), random.uniform(-150, 150)
        level = spectrogram(random, 5.0, late_s, offset_hz)
        fit = fit_track(level, TIMES, BIN_HZ, curve, find_track(level, TIMES, BIN_HZ, curve, few, random))
        time_score = (fit.time_offset_s - late_s) / fit.time_offset_sd_s
        scores.append((time_score, (fit.frequency_offset_hz - offset_hz) / fit.frequency_offset_sd_hz))
    # The root mean square of 30 such scores scatters by an eighth.
    assert np.sqrt(np.mean(np.square(scores), axis=0)) == pytest.approx([1.0, 1.0], abs=0.35)


def test_on_noise_the_stated_probability_holds():
    random = np.random.default_rng(7)
    chances = np.array(
        [
            find_track(spectrogram(random, 0.0), TIMES, BIN_HZ, curve, SEARCH, random).false_alarm_probability
            for _ in range(25)
        ]
    )
    assert chances.min() > 1e-3
    for level in (0.1, 0.3):
        assert np.mean(chances <= level) <= level + 3 * np.sqrt(level * (1 - level) / len(chances))


def test_a_line_that_does_not_follow_the_curve_is_not_taken_for_it():
    random = np.random.default_rng(8)
    powers = random.standard_exponential((600, 301)).astype(np.float32)
    # A steady carrier at +100 Hz sweeps backwards through the straightened band.
    column = 150 + np.rint((100.0 - curve(TIMES)) / BIN_HZ).astype(int)
    inside = np.abs(column - 150) <= 150
    powers[np.flatnonzero(inside), column[inside]] += 100.0
    found = find_track(whitened(powers), TIMES, BIN_HZ, curve, SEARCH, random)
    assert found.false_alarm_probability > 1e-3


def test_a_faint_track_is_not_measured():
    random = np.random.default_rng(9)
    level = spectrogram(random, 0.0)
    assert fit_track(level, TIMES, BIN_HZ, curve, find_track(level, TIMES, BIN_HZ, curve, SEARCH, random)) is None


def test_exceedance_is_gumbels_law():
    # Many maxima of a known law: the fit by moments comes back to it, a little wide.
    maxima = gumbel_r(loc=4.0, scale=0.3).rvs(4_000, random_state=10)
    for value in (4.5, 5.5, 6.5):
        assert exceedance(value, maxima) == pytest.approx(gumbel_r(4.0, 0.3).sf(value), rel=0.35)
    assert exceedance(3.0, maxima) == pytest.approx(1.0, abs=1e-6)
    assert exceedance(1e9, maxima) < 1e-300


def test_a_strong_line_between_bins_is_placed_without_a_lean():
    # No noise to speak of: what is left is the method's own error, a hundredth of a bin at most.
    for fraction in (0.1, 0.25, 0.4):
        level = np.ones((600, 301)) + 1e4 * hann_line(np.arange(-150, 151) - fraction)
        found = TrackDetection(60.0, 0.0, 0.0, 0.0, 0.0, 0.1, 6 * BIN_HZ)
        fit = fit_track(level.astype(np.float32), TIMES, BIN_HZ, curve, found)
        assert fit.frequency_offset_hz == pytest.approx(fraction * BIN_HZ, abs=0.01 * BIN_HZ)
        assert fit.middle_s == 150.0


def test_the_line_is_that_of_a_hann_window():
    # Against the window itself, transformed with zeros around it.
    spectrum = np.abs(np.fft.fft(np.hanning(65)[:-1], 64 * 16)) ** 2
    assert hann_line(np.arange(0, 48) / 16) == pytest.approx(spectrum[:48] / spectrum[0], abs=2e-3)
