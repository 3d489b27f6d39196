import math

import numpy as np
import pytest
from skyfield.api import EarthSatellite, load, wgs84

from skyglint.sky.earth import ecef_to_geodetic
from skyglint.sky.orbits.tle import checksum, read_tle
from skyglint.sky.passes import find_passes
from skyglint.sky.satellites import Place, satellite
from skyglint.utc import parse_utc

START = parse_utc("2026-11-20T00:00:00Z")
SITE = Place(54.61, -2.93, 210.0)


def lines(first, second):
    texts = [text.ljust(68)[:68] for text in (first, second)]
    return [text + str(checksum(text)) for text in texts]


LOW = lines(
    "1 99991U 26012A   26324.51782528  .00002182  00000-0  10270-3 0  9990",
    "2 99991  51.6416 247.4627 0006703 130.5360 325.0288 15.49309620 42",
)
HALF_DAY = lines(
    "1 99993U 26012C   26324.81782528  .00000082  00000-0  00000-0 0  9990",
    "2 99993  63.4416 187.4627 6877146 270.5360  15.0288  2.00609620 42",
)
STANDING = lines(
    "1 99994U 26012D   26324.81782528  .00000000  00000-0  00000-0 0  9990",
    "2 99994   0.0416 187.4627 0001146 270.5360  15.0288  1.00273790 42",
)


def passes_of(text, days, least=0.0, site=SITE):
    body = satellite(read_tle("\n".join(text), "test").elements[0])
    return body, find_passes(body, site, START, START + 86_400.0 * days, least)


@pytest.mark.parametrize(("text", "days"), [(LOW, 4), (HALF_DAY, 4)])
@pytest.mark.parametrize("least", [0.0, 10.0])
@pytest.mark.parametrize("site", [SITE, Place(-45.0, 170.0, 0.0)])
def test_events_against_skyfield(text, days, least, site):
    _, passes = passes_of(text, days, least, site)
    timescale = load.timescale(builtin=True)
    at = lambda unix: timescale.tt_jd(2440587.5 + (unix + 69.184) / 86_400)  # noqa: E731
    peer = EarthSatellite(*text, None, timescale)
    place = wgs84.latlon(site.latitude_deg, site.longitude_deg, site.height_m)
    times, kinds = peer.find_events(place, at(START), at(START + 86_400.0 * days), least)
    unix = (times.tt - 2440587.5) * 86_400 - 69.184
    rises = [one.rise_unix for one in passes if not math.isnan(one.rise_unix)]
    sets = [one.set_unix for one in passes if not math.isnan(one.set_unix)]
    # Skyfield's search stops at about a second at grazing crossings.
    assert rises == pytest.approx(unix[kinds == 0].tolist(), abs=1.5)
    assert sets == pytest.approx(unix[kinds == 2].tolist(), abs=1.5)
    assert len(passes) > 2


def test_passes_have_their_shape():
    body, passes = passes_of(LOW, 3)
    for one in passes:
        assert one.start_unix <= one.culmination_unix <= one.end_unix
        inside = body.look(SITE, np.linspace(one.start_unix + 0.1, one.end_unix - 0.1, 200)).elevation_deg
        assert inside.min() > 0
        assert inside.max() <= one.max_elevation_deg + 1e-6
        if not math.isnan(one.rise_unix):
            elevation = body.look(SITE, np.array([one.rise_unix - 1, one.rise_unix, one.rise_unix + 1])).elevation_deg
            assert elevation[0] < 0 < elevation[2]
            assert abs(elevation[1]) < 1e-4


def test_a_satellite_that_never_sets():
    body = satellite(read_tle("\n".join(STANDING), "test").elements[0])
    below = ecef_to_geodetic(body.earth_fixed_km(START))
    place = Place(0.0, float(below[1]) + 20.0, 0.0)
    (one,) = find_passes(body, place, START, START + 86_400.0)
    assert math.isnan(one.rise_unix)
    assert math.isnan(one.set_unix)
    assert (one.start_unix, one.end_unix) == (START, START + 86_400.0)


def test_never_up_gives_none():
    body = satellite(read_tle("\n".join(STANDING), "test").elements[0])
    assert find_passes(body, Place(89.0, 0.0, 0.0), START, START + 86_400.0) == []
