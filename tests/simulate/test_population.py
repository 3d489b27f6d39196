import numpy as np
import pytest

from skyglint.simulate.events import Head, Overdense, Population, Underdense
from skyglint.simulate.population import draw, overdense_life_s, peak_snr_db
from skyglint.simulate.scenario import parse_scenario

SCENARIO = parse_scenario("""
[recording]
start_utc = "2026-01-04T03:00:00Z"
duration_s = 3600
sample_rate_hz = 2_400_000
center_frequency_hz = 98_000_000
""")


def population(**keys):
    return Population(**({"transmitter": "far", "rate_per_h": 1000.0} | keys))


@pytest.mark.parametrize("mass_index", [1.7, 2.1, 2.5])
def test_strengths_follow_the_mass_index(mass_index):
    # Maximum-likelihood slope alpha = n / sum ln(P / P0), sd alpha / sqrt n (Crawford, Jauncey and Murdoch, Astrophys.
    # J. 162, 405 (1970)); underdense power: alpha = (s - 1) / 2, so 0.35, 0.55 and 0.75.
    n = 20_000
    many = population(mass_index=mass_index, min_snr_db=0.0, max_snr_db=110.0)
    power = 10 ** (peak_snr_db(n, many, np.random.default_rng(1)) / 10)
    alpha = n / np.log(power).sum()
    assert alpha == pytest.approx((mass_index - 1) / 2, abs=4 * alpha / np.sqrt(n))


def test_strengths_stay_within_their_limits():
    peaks = peak_snr_db(5000, population(min_snr_db=3.0, max_snr_db=20.0), np.random.default_rng(2))
    assert 3 <= peaks.min() < 3.1
    assert 15 < peaks.max() <= 20


def test_numbers_are_poisson():
    counts = [len(draw(population(rate_per_h=30.0), SCENARIO, np.random.default_rng(seed))) for seed in range(400)]
    assert np.mean(counts) == pytest.approx(30, abs=4 * np.sqrt(30 / 400))
    assert np.var(counts) == pytest.approx(30, rel=0.3)


def test_a_shower_burst_has_its_own_hours():
    events = draw(population(start_s=1000.0, duration_s=600.0), SCENARIO, np.random.default_rng(3))
    starts = np.array([event.start_s for event in events])
    assert len(events) == pytest.approx(1000 / 6, abs=5 * np.sqrt(1000 / 6))
    assert starts.min() >= 1000
    assert starts.max() <= 1600
    assert draw(population(start_s=4000.0), SCENARIO, np.random.default_rng(3)) == []


def test_kinds_and_heights():
    mixed = population(overdense_share=0.3, head_share=0.2, height_km=96.0, height_sd_km=3.0, rate_per_h=20_000.0)
    events = draw(mixed, SCENARIO, np.random.default_rng(4))
    shares = [np.mean([isinstance(event, kind) for event in events]) for kind in (Overdense, Head, Underdense)]
    np.testing.assert_allclose(shares, [0.3, 0.2, 0.5], atol=0.02)
    heights = np.array([event.height_km for event in events if isinstance(event, Underdense)])
    assert heights.mean() == pytest.approx(96, abs=0.2)
    assert heights.std() == pytest.approx(3, rel=0.05)


def test_overdense_lives_follow_their_law():
    # N(> T) ~ T^(-3 (s - 1) / 4) (McIntosh 1968; Kaiser 1953): s = 2.17 gives 0.8775.
    random = np.random.default_rng(5)
    lives = np.array([overdense_life_s(2.17, random) for _ in range(20_000)])
    share = np.mean(lives > 3.0) / np.mean(lives > 1.0)
    tail = 30.0**-0.8775
    assert share == pytest.approx((3.0**-0.8775 - tail) / (1 - tail), rel=0.08)
    assert lives.max() <= 30
