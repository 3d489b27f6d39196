"""Silence: expected against received, and how the receiver's scale is found."""

import dataclasses
import math

import numpy as np
import pytest
from simulated_surveys import SITE

from skyglint.horizon.silence import median_floors_dbfs, silences
from skyglint.site import parse_site
from skyglint.store.records import FloorHistory

HERE = parse_site(SITE)
REFERENCE = """
[[channel]]
name = "town"
role = "reference"
kind = "fm"
frequency_hz = 97_500_000
latitude_deg = 54.66
longitude_deg = -2.90
power_w = 500
height_m = 140
"""


def test_a_silent_target_speaks_against_the_plane():
    (row,), scale = silences(HERE, 40.0, {"north-sea": -40.0, "quiet": -40.0})
    # Residential noise, galaxy and a receiver of 6 dB at 98.3 MHz in 200 kHz: ITU-R P.372 by hand, see the table of
    # external noise: 17.3 and 6.2 dB over kT0B, with 6 dB of receiver 17.8 dB; kT0 200 kHz = -120.96 dBm.
    assert row.noise_dbm == pytest.approx(-120.96 + 17.85, abs=0.15)
    assert scale.full_scale_dbm == pytest.approx(row.noise_dbm + 40.0, abs=0.01)
    assert "P.372" in scale.how
    # The plane: 60 kW at 715 km, 40 log d - 20 log(680 x 8) = 159.5 dB.
    assert row.plane_dbm == pytest.approx(79.93 - (40 * math.log10(714.85e3) - 20 * math.log10(680 * 8)), abs=0.1)
    assert row.round_dbm[0] < row.round_dbm[1] < row.round_dbm[2] < row.plane_dbm
    # A rise of less than 1 dB is at most 10^0.1 - 1 of the noise: -5.87 dB.
    assert row.is_limit
    assert row.measured_dbm == pytest.approx(row.noise_dbm - 5.87, abs=0.01)
    assert "No steady signal was found: at least" in row.sentence


def test_a_steady_signal_is_measured():
    (row,), _ = silences(HERE, 40.0, {"north-sea": -30.0, "quiet": -40.0})
    assert not row.is_limit
    assert row.measured_dbm - row.noise_dbm == pytest.approx(10 * math.log10(9), abs=0.01)
    assert "may be another station's" in row.sentence


def test_without_a_recording_only_the_expectation_is_given():
    (row,), scale = silences(HERE, 40.0, {})
    assert scale is None
    assert math.isnan(row.measured_dbm)
    assert row.sentence.endswith("It was not measured here.")


def test_a_reference_station_sets_the_scale():
    site = parse_site(SITE + REFERENCE)
    _, scale = silences(site, 40.0, {"north-sea": -60.0, "quiet": -60.0, "town": -12.0})
    # 500 W at 5.5 km, 100 m and 8 m: plane Earth 40 log d - 20 log 800 = 91.6 dB, so 59.14 - 91.6 = -32.4 dBm.
    assert scale.full_scale_dbm == pytest.approx(-32.4 + 12.0, abs=1.5)
    assert "town" in scale.how
    _, stated = silences(site, 40.0, {"quiet": -60.0}, full_scale_dbm=-25.0)
    assert stated.full_scale_dbm == -25.0


def test_a_target_without_power_is_passed_over():
    bare = HERE.model_copy(update={"channel": HERE.channel[1:]})
    assert silences(bare, 40.0, {}) == ((), None)


def test_floors_are_medians_of_what_was_measured():
    floors = [
        FloorHistory("a", np.arange(5.0), np.array([1, 2, np.nan, 9, 3], dtype=np.float32)),
        FloorHistory("b", np.arange(1.0), np.array([np.nan], dtype=np.float32)),
    ]
    assert median_floors_dbfs(floors) == {"a": 2.5}


def test_the_sentence_claims_nothing_when_the_plane_is_as_quiet():
    (row,), _ = silences(HERE, 40.0, {"north-sea": -40.0, "quiet": -40.0})
    assert "tells nothing" in dataclasses.replace(row, plane_dbm=row.measured_dbm - 3).sentence
