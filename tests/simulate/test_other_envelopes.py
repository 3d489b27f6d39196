import numpy as np
import pytest

from skyglint.simulate import other_envelopes as other


def random():
    return np.random.default_rng(8)


def test_fading_is_a_gaussian_process():
    # Rice (Bell Syst. Tech. J. 23, 1944): a complex Gaussian process whose spectrum is normal with standard deviation f
    # crosses the level R, rho = R / rms, upwards 2 sqrt(pi) f rho exp(-rho^2) times a second; at the median
    # rho^2 = ln 2.
    fading_hz, step_s = 0.5, 0.02
    value = other.fading(400_000, step_s, fading_hz, random())
    power = np.abs(value) ** 2
    assert power.mean() == pytest.approx(1, rel=0.05)
    assert (power**2).mean() / power.mean() ** 2 == pytest.approx(2, rel=0.1)  # exponential power
    level = np.log(2)
    upward = np.count_nonzero((power[:-1] < level) & (power[1:] >= level)) / (len(power) * step_s)
    assert upward == pytest.approx(2 * np.sqrt(np.pi) * fading_hz * np.sqrt(level) / 2, rel=0.05)


@pytest.mark.parametrize("make", [other.sporadic_e, other.ducting])
def test_slow_openings_rise_and_fall_within_their_time(make):
    arrival = make(10.0, 600.0, 0.05, random())
    power = np.abs(arrival.gain) ** 2
    assert arrival.start_s == 10
    assert arrival.end_s == pytest.approx(610, abs=2)
    assert power[0] == pytest.approx(0, abs=1e-9)
    assert power[-1] < 0.01
    assert 0.3 < power[len(power) // 3 : 2 * len(power) // 3].mean() < 2.5


def test_aircraft_beats_at_its_doppler_shift():
    # Direct and reflected signal beat at the difference of their shifts: 3 Hz at the start, 0 in the middle.
    arrival = other.aircraft(0.0, 40.0, 3.0, -3.0, 0.5)
    power = np.abs(arrival.gain) ** 2
    t = np.arange(len(power)) * arrival.step_s
    early = power[(t > 5) & (t < 10)]
    crossings = np.count_nonzero(np.diff(np.sign(early - early.mean())) != 0) / 2 / 5
    assert crossings == pytest.approx(3.0 * (1 - 2 * 7.5 / 40), rel=0.2)
    assert np.ptp(power[(t > 19.9) & (t < 20.1)]) < 0.2 * power.max()


def test_satellite_sweeps_as_an_s():
    arrival = other.satellite(0.0, 120.0, 3000.0)
    shift = arrival.doppler_hz
    assert shift[0] == pytest.approx(3000)
    assert shift[-1] == pytest.approx(-3000)
    rate = np.diff(shift)
    assert (rate < 0).all()
    assert np.argmin(rate) == pytest.approx(len(rate) / 2, abs=2)  # fastest in the middle


def test_lightning_is_short_and_uneven():
    arrival = other.lightning(0.0, 0.3, 5, random())
    power = np.abs(arrival.gain) ** 2
    assert arrival.end_s <= 0.31
    assert power.max() > 20 * np.median(power)


def test_impulses_come_at_their_rate():
    arrival = other.impulses(0.0, 50.0, 20.0, random())
    assert np.count_nonzero(arrival.gain) == pytest.approx(1000, abs=4 * np.sqrt(1000))


def test_burst_is_flat():
    arrival = other.burst(1.0, 0.05, 0.0)
    assert (arrival.start_s, arrival.end_s) == (1.0, pytest.approx(1.05))
    assert (np.abs(arrival.gain) == 1).all()
