import numpy as np
import pytest
from scipy.special import fresnel

from skyglint.simulate import trail_envelopes as trail


def amplitude_at(arrival, seconds):
    knots = arrival.start_s + np.arange(len(arrival.gain)) * arrival.step_s
    return np.interp(seconds, knots, np.abs(arrival.gain))


def test_decay_of_an_underdense_echo_over_1200_km():
    # Amplitude 1/e time at 95 km, 100 MHz, sec^2 phi = 24.6358 (1200 km): 0.24087 s, from lambda^2 sec^2 phi /
    # (16 pi^2 D) with D = 5.82103 m^2/s (Greenhow and Neufeld 1955), computed by hand.
    geometry = trail.trail_over_middle(1200, 95, 90)
    decay_s = trail.trail_decay_s(geometry, 95, 100e6)
    assert decay_s == pytest.approx(0.24087, rel=1e-4)
    crossing = trail.crossing_s(geometry, 100e6, 40)
    assert crossing == pytest.approx(957.52 / 40e3, rel=1e-4)  # CCIR Report 251-5: half zone of 957.52 m
    arrival = trail.underdense(1.0, crossing, decay_s)
    seconds = np.arange(1.2, 1.8, 0.01)
    slope, _ = np.polyfit(seconds, np.log(amplitude_at(arrival, seconds)), 1)
    assert -1 / slope == pytest.approx(0.24087, rel=2e-3)


def test_build_up_is_the_cornu_spiral():
    # Without decay the amplitude is that of diffraction at a straight edge: |integral of exp(-i pi x^2 / 2)|, half of
    # its final value at the geometrical edge, 1.171 of it at the first maximum, x = 1.217 (Born and Wolf sec. 8.7;
    # scipy.special.fresnel). With exp(-i pi (t/T)^2), x = sqrt(2) t / T.
    crossing = 0.02
    arrival = trail.underdense(0.0, crossing, 30.0)
    x = np.arange(-2.0, 2.0, 0.05)
    s, c = fresnel(x)
    spiral = np.hypot(c + 0.5, s + 0.5) / np.sqrt(2)
    seconds = x * crossing / np.sqrt(2)
    final = amplitude_at(arrival, 1.0) / np.exp(-1.0 / 30)
    measured = amplitude_at(arrival, seconds) / final
    np.testing.assert_allclose(measured, spiral, atol=0.02)
    assert seconds[np.argmax(measured)] == pytest.approx(1.217 * crossing / np.sqrt(2), rel=0.05)


def test_a_fast_decay_never_reaches_the_full_strength():
    # Formation loss grows with crossing over decay time: the peak comes earlier and lower than the undecayed spiral's.
    def integral_peak(decay_s):
        t = np.arange(-0.08, 0.3, 1e-5)
        element = np.exp(-1j * np.pi * (t / 0.02) ** 2)
        gain, kept = np.empty(len(t), dtype=complex), 0j
        for index, value in enumerate(element):
            kept = kept * np.exp(-1e-5 / decay_s) + value
            gain[index] = kept
        return t[np.argmax(np.abs(gain))]

    arrival = trail.underdense(0.0, 0.02, 0.02)
    peak = arrival.start_s + np.argmax(np.abs(arrival.gain)) * arrival.step_s
    assert peak == pytest.approx(integral_peak(0.02), abs=0.001)


@pytest.mark.parametrize("decay_s", [0.001, 0.02, 5.0])
@pytest.mark.parametrize("crossing_s", [0.002, 0.12])
def test_any_time_scale_is_finite_and_ends(crossing_s, decay_s):
    arrival = trail.underdense(0.0, crossing_s, decay_s)
    size = np.abs(arrival.gain)
    assert np.isfinite(size).all()
    assert size.max() == pytest.approx(1, abs=1e-6)
    assert size[-1] < 0.01
    assert size[0] < 0.02


def test_overdense_plateau_follows_the_critical_radius():
    # r^2 = 4 D t ln(T/t): largest at t = T/e (McKinley 1961 ch. 8), where the power, proportional to r, peaks.
    random = np.random.default_rng(0)
    arrival = trail.overdense(0.0, 10.0, 0.3, 0.02, 1, 0.0, 0.0, random)
    peak = np.argmax(np.abs(arrival.gain)) * arrival.step_s
    assert peak == pytest.approx(10 / np.e, rel=0.01)
    at = amplitude_at(arrival, np.array([1.0, 10 / np.e, 7.0])) ** 2
    u = np.array([0.1, 1 / np.e, 0.7])
    radius = np.sqrt(u * np.log(1 / u))
    np.testing.assert_allclose(at / at[1], radius / radius[1], rtol=0.01)


def test_overdense_tail_decays_as_diffusion_has_it():
    arrival = trail.overdense(0.0, 4.0, 0.3, 0.02, 1, 0.0, 0.0, np.random.default_rng(0))
    seconds = np.arange(3.6, 4.6, 0.01)
    slope, _ = np.polyfit(seconds, np.log(amplitude_at(arrival, seconds)), 1)
    assert -1 / slope == pytest.approx(0.3, rel=0.01)


def test_glints_fade_slowly():
    arrival = trail.overdense(0.0, 20.0, 0.3, 0.02, 4, 0.7, 0.0, np.random.default_rng(5))
    plateau = np.abs(arrival.gain[int(8 / arrival.step_s) : int(16 / arrival.step_s)]) ** 2
    ripple = plateau - plateau.mean()
    frequency = np.fft.rfftfreq(len(ripple), arrival.step_s)
    power = np.abs(np.fft.rfft(ripple)) ** 2
    assert power[frequency < 4].sum() / power.sum() > 0.99  # differences of shifts of about 0.7 Hz
    assert plateau.std() / plateau.mean() > 0.1


def test_head_echo_chirps():
    arrival = trail.head(2.0, 0.3, 900.0, -6000.0)
    step = 1e-5
    gain = arrival.at(2.05, step, 20_000)
    frequency = np.angle(gain[1:] * gain[:-1].conj()) / (2 * np.pi * step)
    seconds = 0.05 + (np.arange(len(frequency)) + 0.5) * step
    slope, start = np.polyfit(seconds, frequency, 1)
    assert (slope, start) == (pytest.approx(-6000, rel=1e-3), pytest.approx(900, abs=1))


def test_doppler_of_trails():
    for arrival in (
        trail.underdense(0.0, 0.02, 0.5, doppler_hz=7.0),
        trail.overdense(0.0, 2.0, 0.3, 0.02, 1, 0.0, 7.0, np.random.default_rng(1)),
    ):
        seconds = np.arange(0.2, 1.0, 0.01)
        place = np.rint((seconds - arrival.start_s) / arrival.step_s).astype(int)
        phase = np.unwrap(np.angle(arrival.gain[place]))
        slope, _ = np.polyfit(seconds, phase, 1)
        assert slope / (2 * np.pi) == pytest.approx(7.0, abs=0.05)
