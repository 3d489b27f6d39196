import csv
import math
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skyglint.sky.showers import active_showers, load_showers
from skyglint.sky.sun import solar_longitude_deg, unix_at_solar_longitude
from skyglint.utc import parse_utc

SHOWERS = load_showers()
CODES = [shower.iau_code for shower in SHOWERS]
PEAKS = [shower for shower in SHOWERS if shower.kind != "sporadic"]


def find_shower(code):
    return SHOWERS[CODES.index(code)]


def codes_at(utc):
    return {shower.iau_code for shower in active_showers(parse_utc(utc))}


def test_the_table_is_whole():
    assert len(SHOWERS) == len(set(CODES)) == 79
    numbers = [shower.iau_number for shower in SHOWERS if shower.iau_number]
    assert len(numbers) == len(set(numbers)) == 78
    for shower in PEAKS:
        assert 0 <= shower.radiant_ra_deg < 360
        assert -90 <= shower.radiant_dec_deg <= 90
        assert shower.confirmed in {"seen", "memory"}
        assert shower.source


@pytest.mark.parametrize("shower", PEAKS, ids=lambda shower: shower.iau_code)
def test_printed_dates_agree_with_printed_longitudes(shower):
    # Two statements of one fact in the sources: the date of the maximum and its solar longitude (J2000). Longitudes of
    # date would be off by 0.37 deg or nine hours.
    printed = parse_utc(f"2026-{shower.peak_date}T12:00:00Z")
    reached = unix_at_solar_longitude(shower.peak_solar_longitude_deg, printed)
    assert abs(reached - printed) < 13 * 3600
    if not math.isnan(shower.activity_start_deg):
        assert bool(shower.is_active(shower.peak_solar_longitude_deg))


@pytest.mark.parametrize("shower", [s for s in PEAKS if s.speed_kind == "V_inf from Vg"], ids=lambda s: s.iau_code)
def test_speeds_worked_out_from_geocentric_ones(shower):
    # V_inf**2 = V_g**2 + V_esc**2 with 123 km2/s2; the notes keep the source's V_g.
    geocentric = float(shower.notes.split("Vg ")[1].split()[0])
    assert shower.speed_km_s == pytest.approx(math.sqrt(geocentric**2 + 123), abs=0.06)


def test_rows_with_known_traps():
    assert math.isnan(find_shower("AMO").zhr_max)  # "variable" is not zero
    assert math.isnan(find_shower("XSA").activity_start_deg)
    assert not find_shower("XSA").is_active(304.9)
    assert find_shower("DLM").retired
    assert not find_shower("COM").retired
    assert "CAQ" not in CODES


def test_windows_wrap_through_360():
    virginids = find_shower("EVI")  # 347 to 4
    np.testing.assert_array_equal(
        virginids.is_active([346.9, 347.0, 359.9, 0.0, 4.0, 4.1, 180.0]), [False, True, True, True, True, False, False]
    )
    assert find_shower("COM").is_active(parse_utc_longitude("2027-01-20T00:00Z"))


def parse_utc_longitude(utc):
    return solar_longitude_deg(parse_utc(utc))


def test_windows_from_whole_days_hold_those_days():
    # The June Bootids' maximum (longitude 90.3) falls on the first day of their window, before its 12 h.
    assert "JBO" in codes_at("2026-06-22T03:00Z")
    assert "JBO" not in codes_at("2026-06-21T12:00Z")


@pytest.mark.parametrize(
    ("utc", "among", "not_among"),
    [
        # IMO Meteor Shower Calendar 2026, table 5.
        ("2026-08-13T02:00Z", {"PER", "SDA", "CAP", "KCG", "ANT"}, {"LYR", "GEM", "LEO", "AUR"}),
        ("2026-12-14T12:00Z", {"GEM", "HYD", "MON", "COM", "ANT"}, {"PER", "NTA", "DLM", "URS"}),
        ("2027-01-03T20:00Z", {"QUA", "COM"}, {"GEM", "URS", "GUM"}),
        ("2026-03-25T00:00Z", {"ANT"}, {"LYR", "QUA", "ETA"}),
        ("2026-10-30T00:00Z", {"STA", "NTA", "ORI"}, {"ANT", "LEO"}),
    ],
)
def test_active_showers(utc, among, not_among):
    active = codes_at(utc)
    assert among <= active
    assert not (not_among & active)


def test_drift_of_the_radiant():
    # Perseids, 48 +58 at 140.0, drift 1.35 and 0.20 per degree: 41.25 +57.00 at 135.0 (exact).
    ra_deg, dec_deg = find_shower("PER").radiant_deg([140.0, 135.0])
    np.testing.assert_allclose(ra_deg, [48.0, 41.25])
    np.testing.assert_allclose(dec_deg, [58.0, 57.0])
    # Across 360 degrees: the Comae Berenicids' drift goes on into the new year and not backwards around the circle.
    ra_deg, _ = find_shower("COM").radiant_deg([271.0, 300.0])
    assert float(ra_deg[1] - ra_deg[0]) == pytest.approx(0.9 * 29)


@settings(deadline=None)
@given(st.sampled_from(SHOWERS), st.floats(0, 360))
def test_radiants_stay_on_the_sphere_all_year(shower, longitude_deg):
    ra_deg, dec_deg = shower.radiant_deg(longitude_deg)
    assert 0 <= float(ra_deg) < 360.0001
    assert abs(float(dec_deg)) <= 90


def test_the_antihelion_source_stands_east_of_the_antisolar_point():
    # At the March equinox the antisolar point is (180, 0); 12 degrees east of it on the ecliptic lies (191.04, -4.74),
    # worked out by spherical trigonometry with obliquity 23.4393.
    ra_deg, dec_deg = find_shower("ANT").radiant_deg(0.0)
    assert [float(ra_deg), float(dec_deg)] == pytest.approx([191.04, -4.744], abs=0.01)


def test_activity_profile():
    quadrantids = find_shower("QUA")
    # B = 2.5: the full width at half maximum is 2 log10(2) / B = 0.2408 deg.
    half = 0.2408 / 2
    np.testing.assert_allclose(quadrantids.zhr([283.15 - half, 283.15, 283.15 + half]), [40, 80, 40], rtol=0.001)
    geminids = find_shower("GEM")
    assert float(geminids.profile(261.2)) == pytest.approx(10**-0.59)
    assert float(geminids.profile(263.2)) == pytest.approx(10**-0.81)
    assert math.isnan(float(find_shower("AMO").zhr(239.32)))


def test_an_assumed_profile_says_so_and_falls_to_a_tenth_at_the_ends():
    cygnids = find_shower("KCG")  # 130.8 to 154.8, maximum 144
    assert cygnids.profile_assumed
    assert not find_shower("GEM").profile_assumed
    np.testing.assert_allclose(cygnids.profile([130.8, 144.0, 154.8]), [0.1, 1.0, 0.1], rtol=1e-9)
    assert math.isnan(float(find_shower("XSA").profile(305.0)))


@pytest.mark.parametrize(
    ("code", "mass_index"), [("PER", 1.85606), ("GEM", 2.03743), ("LYR", 1.80555), ("ARI", 2.1179)]
)
def test_mass_index(code, mass_index):
    # s = 1 + 2.5 log10 r of r = 2.2, 2.6, 2.1 and 2.8.
    assert find_shower(code).mass_index == pytest.approx(mass_index, abs=1e-5)


def test_every_profile_belongs_to_a_shower():
    text = (files("skyglint.sky") / "data" / "profiles.csv").read_text(encoding="utf-8")
    assert {row["iau_code"] for row in csv.DictReader(text.splitlines())} <= set(CODES)
