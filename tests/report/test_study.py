"""What a night's echoes say, and the sentences that say it."""

from datetime import date

import numpy as np
import pytest

from skyglint.activity.daily import fit_daily_cycle, morning_test
from skyglint.report import study_words as told
from skyglint.report.gather import gather_night
from skyglint.report.page import render_night
from skyglint.store import Store


@pytest.fixture(scope="module")
def night(month_store):
    with Store.open(month_store) as store:
        return gather_night(store, date(2026, 8, 5))


def text(sentence):
    return sentence.replace("\u202f", " ")


def test_a_whole_night_tells_its_course(night):
    study = night.study
    assert study.hours_seen == 24
    # The truth that the simulator put in: a maximum at 6.2 h with an amplitude of 0.5.
    assert abs(study.cycle.hour_of_maximum_h - 6.2) < 3.0 * study.cycle.hour_of_maximum_sd_h
    assert abs(study.cycle.amplitude - 0.5) < 3.0 * study.cycle.amplitude_sd
    assert "maximum at" in told.night_cycle_sentence(study)
    assert "More before noon than after" in told.morning_sentence(study.morning)
    assert len(study.expected_per_h) == 24
    live = sum(row.echoes for row in night.solar_hours)
    expected = sum(
        study.expected_per_h[row.solar_hour] * row.live_s / 3600.0 for row in night.solar_hours if row.live_s > 0
    )
    assert expected == pytest.approx(live, rel=0.01)


def test_the_outer_hours_of_a_night_within_a_longer_watch_are_not_diluted(night):
    # November 2026: hours that reach over the night's end held its time and not its echoes.
    total = sum(row.live_s for row in night.solar_hours)
    assert total <= 86_400.0
    by_hour = {row.solar_hour: row.rate_per_h for row in night.solar_hours}
    assert by_hour[12] > 0.6 * (by_hour[11] + by_hour[13]) / 2.0


def test_active_showers_and_how_the_paths_see_them(night):
    perseids = next(day for day in night.study.showers if day.shower.iau_code == "PER")
    # The Perseids' radiant, declination 56 to 58 degrees, passes near the zenith of 54.6 N and never sets there.
    assert perseids.altitude_deg.max() == pytest.approx(87.0, abs=3.0)
    assert perseids.altitude_deg.min() > 15.0
    assert set(perseids.response) == {"north-sea", "salt-island"}
    rows = {name: seen for name, _, seen in told.shower_rows(night.study)}
    assert "north-sea" in rows["Perseids (PER)"]


def test_the_page_shows_it(night):
    html = text(render_night(night))
    for words in ("What the echoes say", "Mass index from underdense peaks", "active shower", "Dashed: what the"):
        assert words in html


def test_a_short_watch_says_that_it_is_too_short(nights):
    study = nights["short"].study
    assert told.night_cycle_sentence(study) == "Too little was watched to tell the course of the day."
    html = text(render_night(nights["short"]))
    assert "cannot be told, too few echoes" in html
    assert "Fewer than ten underdense echoes have a height" in html


def test_an_empty_night_says_so(nights):
    html = text(render_night(nights["empty"]))
    assert "too few to tell the course of the day" in html
    assert nights["empty"].study.expected_per_h is None


def test_a_course_that_is_chance_is_called_chance():
    hour, exposure = np.arange(24) + 0.5, np.ones(24)
    flat = fit_daily_cycle(hour, np.full(24, 9.0), exposure)
    assert "does not stand out from chance" in told.cycle_sentence(flat)
    nothing = fit_daily_cycle(hour[:1], np.ones(1), exposure[:1])
    assert "cannot tell" in told.cycle_sentence(nothing)


def test_one_side_of_the_day_is_no_comparison():
    assert "cannot be compared" in told.morning_sentence(morning_test([1.5, 2.5], [3, 4], [1, 1]))
    even = morning_test([1.5, 13.5], [30, 30], [1, 1])
    assert "No surplus before noon stands out" in told.morning_sentence(even)


@pytest.mark.parametrize(
    ("value", "shown"), [(0.5, "p = 0.50"), (0.05, "p = 0.050"), (0.00123, "p = 0.0012"), (float("nan"), "")]
)
def test_probabilities(value, shown):
    assert told.probability(value) == shown


def test_scatter():
    assert told.scatter_sentence(float("nan"), float("nan")) == ""
    assert "as Poisson counts do" in told.scatter_sentence(1.02, 0.4)
    assert "scatter 2.4 times as much" in told.scatter_sentence(2.4, 1e-5)
