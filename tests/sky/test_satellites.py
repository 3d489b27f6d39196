from importlib.resources import files

import numpy as np
import pytest
from skyfield.api import EarthSatellite, load, wgs84

from skyglint.sky.orbits.tle import checksum, read_tle
from skyglint.sky.satellites import (
    SPEED_OF_LIGHT_KM_S,
    Motion,
    Place,
    doppler_hz,
    emission_unix,
    path_km,
    path_rate_km_s,
    satellite,
    sunlit,
)
from skyglint.utc import parse_utc

# Invented satellites: a low orbit, a polar one, an eccentric half-day one.
LOW = """\
1 99991U 26012A   26324.51782528  .00002182  00000-0  10270-3 0  9990
2 99991  51.6416 247.4627 0006703 130.5360 325.0288 15.49309620 42"""
POLAR = """\
1 99992U 26012B   26324.21782528  .00000182  00000-0  10270-4 0  9990
2 99992  98.5416  27.4627 0011703  30.5360 125.0288 14.20309620 42"""
HIGH = """\
1 99993U 26012C   26324.81782528  .00000082  00000-0  00000-0 0  9990
2 99993  63.4416 187.4627 6877146 270.5360  15.0288  2.00609620 42"""
PLACES = [Place(54.61, -2.93, 210.0), Place(-33.2, 179.9, 5.0), Place(89.9, 10.0, 0.0), Place(0.1, -179.99, 2800.0)]


def padded(text):
    """The text with line 2 filled to its 69 columns, and checksums that fit."""
    lines = [line.ljust(68)[:68] for line in text.splitlines()]
    return "\n".join(line + str(checksum(line)) for line in lines)


def body_of(text):
    found = read_tle(padded(text), "test")
    assert found.rejected == ()
    return satellite(found.elements[0])


def test_published_verification_states():
    # Vallado, Crawford, Hujsak & Kelso, AIAA 2006-6753: elements and states (TEME, km and km/s, minutes from epoch),
    # as the sgp4 package carries them. Object 20413 has two sets under one number; they follow in the states' order.
    # The last three, made to end in errors, have checksums that are wrong: made right here, refused by the reader as
    # they stand. What SGP4 itself flags as an error is no place here (NaN), though the listing prints it.
    elements: dict[int, list] = {}
    lines = (files("sgp4") / "SGP4-VER.TLE").read_text().splitlines()
    right = [line[:68] + str(checksum(line)) if line[:2] in ("1 ", "2 ") else line for line in lines]
    assert len(read_tle("\n".join(lines), "").rejected) == 3
    for one in read_tle("\n".join(right), "").elements:
        elements.setdefault(one.catalog_number, []).append(one)
    compared, body = 0, None
    for line in (files("sgp4") / "tcppver.out").read_text().splitlines():
        fields = line.split()
        if len(fields) == 2 and fields[1] == "xx":
            waiting = elements.get(int(fields[0]), [])
            body = satellite(waiting.pop(0)) if waiting else None
        elif body is not None and len(fields) >= 7:
            position, velocity = body.teme(body.elements.epoch_unix + 60.0 * float(fields[0]))
            if body.elements.catalog_number in range(33333, 33336) and np.isnan(position).all():
                continue
            # A microsecond of POSIX time is a millimetre, half a unit of the last printed place another.
            assert position == pytest.approx(np.array(fields[1:4], float), abs=2e-5)
            assert velocity == pytest.approx(np.array(fields[4:7], float), abs=2e-8)
            compared += 1
    assert compared == 666  # one of the 667 states is such an error


@pytest.mark.parametrize("text", [LOW, POLAR, HIGH])
@pytest.mark.parametrize("place", PLACES)
def test_topocentric_against_skyfield(text, place):
    body = body_of(text)
    unix = parse_utc("2026-11-20T00:00:00Z") + np.arange(0, 3 * 86_400, 3_457.0)
    look = body.look(place, unix)
    timescale = load.timescale(builtin=True)
    times = timescale.tt_jd(2440587.5 + (unix + 37 + 32.184) / 86_400)
    peer = EarthSatellite(*padded(text).splitlines(), None, timescale)
    site = wgs84.latlon(place.latitude_deg, place.longitude_deg, place.height_m)
    relative = (peer - site).at(times)
    elevation, azimuth, distance = relative.altaz()
    _, _, _, _, _, rate = relative.frame_latlon_and_rates(site)
    assert look.elevation_deg == pytest.approx(elevation.degrees, abs=0.01)
    off = (look.azimuth_deg - azimuth.degrees + 180) % 360 - 180
    assert np.abs(off * np.cos(np.radians(look.elevation_deg))).max() < 0.01
    assert look.range_km == pytest.approx(distance.km, abs=0.1)

    def distance_km(unix):
        return (peer - site).at(timescale.tt_jd(2440587.5 + (unix + 37 + 32.184) / 86_400)).distance().km

    assert look.range_rate_km_s == pytest.approx((distance_km(unix + 2) - distance_km(unix - 2)) / 4, abs=1e-3)
    # SGP4's own velocities, which skyfield uses, differ from the derivative of its positions: by centimetres a second
    # for low orbits, by more than a metre near the perigee of the half-day one.
    assert look.range_rate_km_s == pytest.approx(rate.km_per_s, abs=2e-3 if text is HIGH else 1e-3)


def test_sunlight_against_a_plain_shadow():
    body = body_of(POLAR)
    unix = parse_utc("2026-11-20T00:00:00Z") + np.arange(0, 86_400, 60.0)
    position, _ = body.teme(unix)
    # The reference: the Sun from a published low-precision formula (Astronomical Almanac, sect. C), a conical shadow
    # around a sphere. Both are good to seconds; the eclipsed share must agree to a few samples.
    days = (unix - 946_728_000.0) / 86_400
    anomaly = np.radians(357.528 + 0.9856003 * days)
    longitude = np.radians(280.460 + 0.9856474 * days + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2 * anomaly))
    tilt = np.radians(23.439)
    sun = np.stack([np.cos(longitude), np.cos(tilt) * np.sin(longitude), np.sin(tilt) * np.sin(longitude)], axis=-1)
    along = np.sum(position * sun, axis=-1)
    shadow = (along < 0) & (np.linalg.norm(position - along[:, None] * sun, axis=-1) < 6371.0)
    lit = sunlit(body.motion(unix), unix)
    assert 0.5 < lit.mean() < 0.8
    assert np.mean(lit == ~shadow) > 0.985


@pytest.mark.parametrize("transmitter", [None, Place(58.72, 6.05, 720.0)])
def test_rate_of_the_way_is_the_derivative_of_its_length(transmitter):
    body, site = body_of(LOW), PLACES[0]
    unix = parse_utc("2026-11-21T03:00:00Z") + np.arange(0, 5_400, 97.0)
    step = 1.5

    def length(times):
        return path_km(body.motion(emission_unix(body, site, times)), site, transmitter)

    # Five-point derivative; light time is inside the length.
    slope = (length(unix - 2 * step) - 8 * length(unix - step) + 8 * length(unix + step) - length(unix + 2 * step)) / (
        12 * step
    )
    rate = path_rate_km_s(body.motion(emission_unix(body, site, unix)), site, transmitter)
    assert doppler_hz(rate, 98.3e6) == pytest.approx(-slope / SPEED_OF_LIGHT_KM_S * 98.3e6, abs=1e-3)


def test_doppler_of_an_overhead_pass():
    # A circular orbit of 400 km straight overhead, Earth's rotation ignored: range rate v R cos(el) / (R + h), from
    # mu = 398600.4418 km^3/s^2; at 30 degrees of elevation 2856.3 Hz at 137 MHz and 46910.6 Hz at 2250 MHz.
    radius, orbit = 6378.137, 6778.137
    speed = np.sqrt(398600.4418 / orbit)
    angle = np.pi / 2 - np.radians(30) - np.arcsin(radius / orbit * np.cos(np.radians(30)))
    motion = Motion(
        np.array([orbit * np.cos(angle), -orbit * np.sin(angle), 0.0]),
        speed * np.array([np.sin(angle), np.cos(angle), 0.0]),
    )
    rate = path_rate_km_s(motion, Place(0.0, 0.0, 0.0))
    assert doppler_hz(rate, 137e6) == pytest.approx(2856.3, rel=1e-3)
    assert doppler_hz(rate, 2250e6) == pytest.approx(46910.6, rel=1e-3)


def test_a_decayed_object_has_no_place():
    # Object 28872 of the verification set: its orbit decays within the hour.
    elements = read_tle((files("sgp4") / "SGP4-VER.TLE").read_text(), "").elements
    body = satellite(next(one for one in elements if one.catalog_number == 28872))
    position = body.motion(body.elements.epoch_unix + np.array([0.0, 86_400.0 * 20])).position_km
    assert np.isfinite(position[0]).all()
    assert np.isnan(position[1]).all()
