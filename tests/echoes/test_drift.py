import numpy as np
import pytest

from skyglint.echoes.drift import line_drift
from skyglint.echoes.tones import Hit

RATE_HZ = 8000.0


def hits(frequency_hz):
    """Hits of equal strength, two a second."""
    return [Hit(round(0.5 * i * RATE_HZ), float(hz), 0.64, 900.0) for i, hz in enumerate(frequency_hz)]


def test_an_aircrafts_line_drifts_evenly():
    # 0.3 Hz/s over 20 s, met within a tenth of a hertz.
    noise = np.random.default_rng(1).normal(0, 0.1, 41)
    drift = line_drift(hits(5 - 0.15 * np.arange(41) + noise), RATE_HZ)
    assert drift.drift_hz == pytest.approx(6.0, rel=0.05)
    assert drift.straightness == pytest.approx(0.15 * np.std(np.arange(41)) / 0.1, rel=0.3)


def test_a_fading_line_scatters_and_does_not_drift():
    drift = line_drift(hits(np.random.default_rng(2).normal(0, 1.0, 41)), RATE_HZ)
    assert drift.straightness < 0.5


def test_a_weak_hit_far_off_does_not_count():
    line = [*hits(np.linspace(3, -3, 21)), Hit(0, 900.0, 0.02, 20.0)]
    assert line_drift(line, RATE_HZ).drift_hz == pytest.approx(6.0)


def test_too_few_hits_make_no_line():
    assert line_drift(hits([1.0, 2.0, 3.0]), RATE_HZ) is None
