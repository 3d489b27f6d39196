"""The whole inference on simulated surveys whose truth is known."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from skyglint.horizon.experiment import WGS84_MEAN_RADIUS_KM
from skyglint.horizon.radius import decide, earth_interval, interval_of, odds_words, weigh
from skyglint.station.accuracy.surveys import EARTH_KM, simulated

REPETITIONS = 60


@pytest.mark.parametrize(
    ("factor", "scatter", "floor_dbm"),
    [(1.0, False, None), (1.33, False, -105.0), (1.6, False, None), (1.33, True, -105.0), (1.0, True, None)],
)
def test_intervals_hold_the_truth_as_often_as_they_state(factor, scatter, floor_dbm):
    rng = np.random.default_rng(20)
    truth, inside_68, inside_95 = factor * EARTH_KM, 0, 0
    for _ in range(REPETITIONS):
        survey = simulated(rng, factor, scatter=scatter, floor_dbm=floor_dbm)
        result = weigh([survey.links], survey.measured)
        assert result.verdict == "round", result.log10_odds
        inside_68 += result.effective.low_68_km <= truth <= result.effective.high_68_km
        inside_95 += result.effective.low_95_km <= truth <= result.effective.high_95_km
    # One in two thousand such counts of a true 68 or 95 % lies below these.
    assert inside_68 >= binom.ppf(0.0005, REPETITIONS, 0.68)
    assert inside_95 >= binom.ppf(0.0005, REPETITIONS, 0.95)
    if not scatter:
        # Where scatter and its unknown strength hide the radius, the prior's width makes intervals cautious.
        assert inside_68 <= binom.ppf(0.9995, REPETITIONS, 0.68)


def test_over_a_plane_it_says_plane():
    rng = np.random.default_rng(4)
    for floor_dbm in (None, -100.0):
        verdicts = []
        for _ in range(15):
            survey = simulated(rng, None, floor_dbm=floor_dbm)
            verdicts.append(weigh([survey.links], survey.measured).verdict)
        assert verdicts.count("plane") >= 14
        assert "round" not in verdicts


def test_with_few_near_stations_it_cannot_tell():
    rng = np.random.default_rng(6)
    for factor in (1.33, None, 1.0):
        for stations in (5, 12):
            survey = simulated(rng, factor, stations=stations, near_km=5, far_km=35)
            result = weigh([survey.links], survey.measured)
            assert result.verdict == "cannot tell"
            # And the odds themselves stay modest: the rule is no fig leaf.
            assert abs(result.log10_odds) < 1.0


def test_limits_alone_from_far_away_speak_against_a_plane():
    # Thirty strong far stations of which not one is heard.
    rng = np.random.default_rng(8)
    survey = simulated(rng, 1.33, stations=30, near_km=120, far_km=300, scatter=False, floor_dbm=-115.0)
    result = weigh([survey.links], survey.measured)
    assert survey.measured.is_limit.sum() >= 20
    assert result.log10_odds > 3


def test_levels_that_follow_no_model_get_no_verdict():
    rng = np.random.default_rng(9)
    survey = simulated(rng, 1.33, stations=120)
    survey.measured.level_dbm[:] = rng.uniform(-110, -30, 120)
    result = weigh([survey.links], survey.measured)
    assert result.verdict == "cannot tell"
    assert "neither model fits" in result.reason


def test_wild_rows_are_named():
    rng = np.random.default_rng(10)
    survey = simulated(rng, 1.33, scatter=False, error_db=3.0)
    survey.measured.level_dbm[0] += 45.0
    result = weigh([survey.links], survey.measured)
    assert result.round_fit.wild[0] > 0.95
    assert np.median(result.round_fit.wild) < 0.1


def test_a_wrong_scale_shifts_the_offset_and_not_the_radius():
    rng = np.random.default_rng(12)
    survey = simulated(rng, 1.33, scatter=False)
    first = weigh([survey.links], survey.measured)
    survey.measured.level_dbm[:] += 6.0
    second = weigh([survey.links], survey.measured)
    assert second.round_fit.offset_db - first.round_fit.offset_db == pytest.approx(6.0, abs=2.0)
    assert second.effective.median_km == pytest.approx(first.effective.median_km, rel=0.05)


def test_intervals_of_a_known_density():
    # A normal density of ln r with sd 0.1 about 8000 km: quantiles are 8000 exp(0.1 z).
    radius = np.geomspace(3000, 20000, 4001)
    found = interval_of(radius, np.exp(-0.5 * (np.log(radius / 8000) / 0.1) ** 2))
    assert found.median_km == pytest.approx(8000, rel=1e-3)
    assert found.low_68_km == pytest.approx(8000 * np.exp(-0.1), rel=1e-3)
    assert found.high_95_km == pytest.approx(8000 * np.exp(0.196), rel=1e-3)


def test_the_earths_radius_holds_the_value_that_nobody_put_in():
    # (2 a + b) / 3 = 6371.0088 km (WGS 84, NGA.STND.0036).
    assert pytest.approx(6371.0088, abs=1e-3) == WGS84_MEAN_RADIUS_KM
    radius = np.geomspace(3000, 20000, 2001)
    found = earth_interval(radius, np.exp(-0.5 * (np.log(radius / (6371.0 * 1.4)) / 0.03) ** 2))
    assert found.low_68_km < WGS84_MEAN_RADIUS_KM < found.high_68_km
    # A sharp effective radius leaves the spread of 1 / U(1.2, 1.6): its central 95 % is 8919 / 1.59 to 8919 / 1.21.
    sharp = earth_interval(radius, np.exp(-0.5 * (np.log(radius / (6371.0 * 1.4)) / 0.002) ** 2))
    assert sharp.low_95_km == pytest.approx(6371 * 1.4 / 1.59, rel=0.01)
    assert sharp.high_95_km == pytest.approx(6371 * 1.4 / 1.21, rel=0.01)


def test_the_rule():
    narrow = interval_of(np.array([7000.0, 8000.0, 9000.0]), np.array([0.1, 1.0, 0.1]))
    wide = interval_of(np.geomspace(3000, 16000, 100), np.ones(100))
    edge = interval_of(np.array([15000.0, 15500.0, 16000.0]), np.array([0.1, 1.0, 1.0]))
    assert decide(20, 10, 2.5, narrow, 6.0)[0] == "round"
    assert decide(20, 10, -2.5, narrow, 6.0)[0] == "plane"
    for weak in (
        (20, 10, 0.9, narrow, 6.0),
        (20, 10, 2.5, wide, 6.0),
        (20, 10, 2.5, edge, 6.0),
        (20, 10, 2.5, narrow, 14.0),
        (20, 10, -2.5, narrow, 14.0),
        (7, 7, 9.0, narrow, 6.0),
        (20, 3, 9.0, narrow, 6.0),
    ):
        assert decide(*weak)[0] == "cannot tell"
    assert odds_words(2.0) == "100 to one"


def test_the_levels_decide_what_the_observer_did_not_state():
    # A site on a hill of 210 m over a plain at sea level, an antenna whose stated pattern is not its real one.
    rng = np.random.default_rng(14)
    survey = simulated(rng, 1.33, scatter=False)
    wrong = replace(
        survey.links,
        site_height_m=survey.links.site_height_m * 0.3,
        gain_dbi=survey.links.gain_dbi + rng.choice([0.0, -16.0], 60),
    )
    result = weigh([wrong, survey.links], survey.measured)
    assert result.variant == 1
    assert result.effective.low_95_km < 1.33 * EARTH_KM < result.effective.high_95_km
    assert weigh([survey.links, wrong], survey.measured).variant == 0
