"""Lines on, beside and across a predicted curve."""

import math

import numpy as np
import pytest

from skyglint.echoes.spacecraft import ExpectedCurve, Line, best_agreement

START = 1_795_179_600.0
SECONDS = np.arange(0.0, 401.0, 2.0)
CENTRE_HZ = 143.05e6


def curve(name="MARLIN 1", snr_db=45.0, late_s=0.3, scale=1.0):
    """An S of the shape of a pass, +-4 kHz, 60 Hz/s at 200 s."""
    u = (SECONDS - 200.0) / 66.0
    return ExpectedCurve(
        name, START + SECONDS, -4_000.0 * scale * u / np.sqrt(1 + u**2), np.full(len(SECONDS), snr_db), late_s
    )


def line(first_s, last_s, shift_hz, random=None, sd_hz=2.0, peak_snr_db=45.0, window_s=0.3):
    """Hits each tenth of a second along a function of time, of the scatter of a tone in such a window."""
    random = random or np.random.default_rng(1)
    unix = START + np.arange(first_s, last_s, 0.1)
    hertz = shift_hz(unix - START) + sd_hz * random.standard_normal(len(unix))
    energy = 20.0 + 5.0 * random.standard_exponential(len(unix))
    return Line(unix, hertz, energy, np.full(len(unix), window_s), peak_snr_db, CENTRE_HZ, 6_000.0)


def along(made, late_s=0.0, offset_hz=0.0):
    return lambda seconds: np.interp(seconds - late_s, SECONDS, made.doppler_hz) + offset_hz


@pytest.mark.parametrize("first_s", [60.0, 140.0, 199.0, 260.0])
def test_a_line_on_the_curve_is_the_spacecrafts(first_s):
    made = curve()
    found = best_agreement(line(first_s, first_s + 8.0, along(made, 0.2, 25.0)), [made])
    assert found.name == "MARLIN 1"
    assert found.odds > 10
    assert found.shift_hz == pytest.approx(along(made, 0.2, 25.0)(first_s + 4.0), abs=15.0)
    assert found.rate_hz_s == pytest.approx(found.predicted_rate_hz_s, abs=2.0)
    assert abs(found.shift_hz - found.predicted_hz) < 3 * found.sd_hz
    assert found.expected_db == 45.0


def test_the_nearest_of_several_is_named():
    one, other = curve("ONE", scale=0.8), curve("OTHER")
    assert best_agreement(line(60.0, 68.0, along(other)), [one, other]).name == "OTHER"
    assert best_agreement(line(60.0, 68.0, along(one)), [one, other]).name == "ONE"


@pytest.mark.parametrize(
    ("first_s", "last_s", "shift"),
    [
        (60.0, 68.0, lambda s: 0.0 * s + 4.0),  # a trail in the wind while the curve stands kilohertz away
        (196.0, 204.0, lambda s: 0.0 * s - 6.0),  # and while it crosses zero
        (140.0, 140.4, lambda s: 2_000.0 - 3_000.0 * (s - 140.0)),  # a head echo through the curve
        (60.0, 68.0, lambda s: 0.0 * s + 3_600.0),  # a steady foreign line on the curve's frequency
        (60.0, 68.0, lambda s: along(curve())(s) + 400.0),  # beside it
        (450.0, 458.0, lambda s: 0.0 * s - 3_900.0),  # after the pass
    ],
    ids=["trail", "trail at the crossing", "head echo", "steady line", "beside", "after"],
)
def test_what_else_moves_is_not(first_s, last_s, shift):
    found = best_agreement(line(first_s, last_s, shift), [curve()])
    assert found is None or found.odds < 0.2


def test_a_short_trail_at_the_crossing_is_not_claimed():
    # Its rate is hardly known: that it could be the spacecraft's says nothing.
    found = best_agreement(line(199.8, 200.2, lambda s: 0.0 * s + 5.0, sd_hz=5.0), [curve()])
    assert found is None or found.odds < 1.0


def test_what_the_radar_equation_calls_hopeless_is_not_claimed():
    faint = curve(snr_db=-5.0)
    assert best_agreement(line(140.0, 148.0, along(faint)), [faint]).odds < 0.1
    unknown = curve(snr_db=math.nan)
    assert best_agreement(line(140.0, 148.0, along(unknown)), [unknown]).odds > 10


def test_no_signal_has_no_way_where_the_transmitter_does_not_see_it():
    made = curve()
    made.doppler_hz[SECONDS < 100] = np.nan
    assert best_agreement(line(60.0, 68.0, along(curve())), [made]) is None
    assert best_agreement(line(60.0, 68.0, along(curve())), []) is None


def test_chance_agreement_is_rare():
    # Steady and drifting lines anywhere in the band during the pass: few may be taken for the spacecraft.
    random = np.random.default_rng(11)
    taken = 0
    for _ in range(400):
        at, place, rate = random.uniform(20, 380), random.uniform(-3_000, 3_000), random.normal(0, 30)
        found = best_agreement(line(at, at + 5, lambda s: place + rate * (s - at), random), [curve()])  # noqa: B023
        taken += found is not None and found.odds > 1
    assert taken <= 6


@pytest.mark.parametrize("at_s", [80.0, 190.0])
def test_stated_errors_are_the_scatter(at_s):
    made = curve(late_s=0.0)
    scores = []
    for seed in range(200):
        random = np.random.default_rng([12, seed])
        # The looks overlap: neighbours share their noise, over the length of a window.
        hits = line(at_s, at_s + 6.0, along(made), random, sd_hz=0.0)
        noise = np.convolve(random.standard_normal(len(hits.unix) + 2), np.ones(3) / math.sqrt(3), "valid")
        found = best_agreement(
            Line(
                hits.unix,
                hits.shift_hz + 2.0 * noise,
                *(getattr(hits, name) for name in ("energy", "resolution_s")),
                45.0,
                CENTRE_HZ,
                6e3,
            ),
            [made],
        )
        scores.append((found.rate_hz_s - found.predicted_rate_hz_s) / found.sd_hz_s)
    assert np.sqrt(np.mean(np.square(scores))) < 1.3
