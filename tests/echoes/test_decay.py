import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import dblquad

from skyglint.echoes.decay import burst_shape, fit_decay

FRAME_S = 0.01
SAMPLES = 1900.0


@pytest.mark.parametrize(("start", "rise", "decay"), [(0.013, 0.02, 0.2), (0.041, 0.004, 0.03), (0.0, 0.08, 5.0)])
def test_the_shape_is_the_frame_mean_of_a_spread_onset(start, rise, decay):
    shape = burst_shape(12, FRAME_S, start, rise, decay)
    for frame in (0, 1, 3, 4, 5, 9, 11):
        # Reference: numerical integration of the onset density times the exponential.
        mean, _ = dblquad(
            lambda t, u: np.exp(-2 * (t - start - u) / decay),
            0, rise, lambda u, frame=frame: max(frame * FRAME_S, start + u),
            lambda u, frame=frame: max((frame + 1) * FRAME_S, start + u),
        )  # fmt: skip
        assert shape[frame] == pytest.approx(mean / rise / FRAME_S, rel=1e-4, abs=1e-9)


def bursts(rng, snr, decay, start, rise, n_frames, trials):
    mean = 1.0 + snr * burst_shape(n_frames, FRAME_S, start, rise, decay)
    return mean, mean * rng.gamma(SAMPLES, 1 / SAMPLES, (trials, n_frames))


def bound(snr, decay, start, rise, n_frames):
    """Cramer-Rao bound of the decay time: Fisher matrix of gamma means, derivatives by differences, floor known."""

    def model(theta):
        return 1 + np.exp(theta[0]) * burst_shape(n_frames, FRAME_S, theta[2], np.exp(theta[3]), np.exp(theta[1]))

    theta = np.array([np.log(snr), np.log(decay), start, np.log(rise)])
    columns = [(model(theta + 1e-5 * e) - model(theta - 1e-5 * e)) / 2e-5 for e in np.eye(4)]
    jacobian = np.stack(columns, axis=1) * np.sqrt(SAMPLES) / model(theta)[:, None]
    return decay * np.sqrt(np.linalg.inv(jacobian.T @ jacobian)[1, 1])


@pytest.mark.parametrize(("snr_db", "decay"), [(0.0, 0.2), (10.0, 0.1), (20.0, 0.5), (-3.0, 1.0)])
def test_the_decay_time_reaches_the_cramer_rao_bound(snr_db, decay):
    rng = np.random.default_rng(3)
    snr, start, rise, n_frames = 10 ** (snr_db / 10), 0.2013, 0.025, 60 + int(250 * decay)
    _, drawn = bursts(rng, snr, decay, start, rise, n_frames, 200)
    fits = [fit_decay(power, FRAME_S, SAMPLES, 1e-3, int(np.argmax(power))) for power in drawn]
    times = np.array([fit.decay_time_s for fit in fits])
    limit = bound(snr, decay, start, rise, n_frames)
    assert times.std() < 1.25 * limit
    assert abs(times.mean() - decay) < limit / 3
    stated = np.median([fit.decay_time_sd_s for fit in fits])
    assert stated == pytest.approx(times.std(), rel=0.25)
    assert np.median([fit.misfit for fit in fits]) == pytest.approx(1.0, abs=0.15)


def test_a_floor_with_its_own_error_widens_the_answer():
    rng = np.random.default_rng(4)
    _, drawn = bursts(rng, 0.3, 1.0, 0.2, 0.02, 400, 1)
    sure = fit_decay(drawn[0], FRAME_S, SAMPLES, 1e-4, int(np.argmax(drawn[0])))
    unsure = fit_decay(drawn[0], FRAME_S, SAMPLES, 3e-2, int(np.argmax(drawn[0])))
    assert unsure.decay_time_sd_s > sure.decay_time_sd_s


def test_a_plateau_is_told_by_its_misfit():
    rng = np.random.default_rng(5)
    mean = np.ones(300)
    mean[50:200] += 10.0
    fit = fit_decay(mean * rng.gamma(SAMPLES, 1 / SAMPLES, 300), FRAME_S, SAMPLES, 1e-3, 60)
    assert fit.misfit > 20.0


@given(st.integers(0, 2**32 - 1), st.integers(6, 80))
def test_noise_alone_never_breaks_the_fit(seed, n_frames):
    power = np.random.default_rng(seed).gamma(60.0, 1 / 60.0, n_frames)
    fit = fit_decay(power, FRAME_S, 60.0, 1e-2, int(np.argmax(power)))
    assert fit is None or np.isfinite(fit.decay_time_s)
