"""Geodesics against geographiclib (Karney's own library) and its published test table."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic as Karney
from hypothesis import given
from hypothesis import strategies as st

from skyglint.path.geodesy import destination, earth_fixed_m, geodesic, local_axes

ONE_MILLIMETRE = 1e-3


# geographiclib 2.1, its test table: lat1, lon1, azi1, lat2, lon2, azi2, s12.
@pytest.mark.parametrize(
    ("lat1", "lon1", "az1", "lat2", "lon2", "az2", "length"),
    [
        (35.60777, -139.44815, 111.098748429560326, -11.17491, -69.95921, 129.289270889708762, 8935244.5604818305),
        (55.52454, 106.05087, 22.020059880982801, 77.03196, 197.18234, 109.112041110671519, 4105086.1713924406),
        (-21.97856, 142.59065, -32.44456876433189, 41.84138, 98.56635, -41.84359951440466, 8394328.894657671),
        (-50.56724, -16.30485, -105.439679907590164, -33.56571, -94.97412, -47.348547835650331, 6455670.5118668696),
    ],
)
def test_published_geodesics(lat1, lon1, az1, lat2, lon2, az2, length):
    found = geodesic(lat1, lon1, lat2, lon2)
    assert found.distance_m == pytest.approx(length, abs=ONE_MILLIMETRE)
    assert found.azimuth_deg == pytest.approx(az1 % 360, abs=1e-6)
    assert found.back_azimuth_deg == pytest.approx((az2 + 180) % 360, abs=1e-6)


@given(st.floats(-90, 90), st.floats(-180, 180), st.floats(-90, 90), st.floats(-180, 180))
def test_any_pair_agrees_with_the_other_library(lat1, lon1, lat2, lon2):
    expected = Karney.WGS84.Inverse(lat1, lon1, lat2, lon2)["s12"]
    assert geodesic(lat1, lon1, lat2, lon2).distance_m == pytest.approx(expected, abs=ONE_MILLIMETRE)


def test_across_the_date_line_and_the_poles():
    # Invented places; lengths by geographiclib at run time.
    pairs = np.array([(-17.0, 179.0, -17.5, -179.5), (89.0, 0.0, 89.0, 180.0), (-90.0, 0.0, -89.0, 45.0)])
    found = geodesic(*pairs.T)
    expected = [Karney.WGS84.Inverse(*pair)["s12"] for pair in pairs]
    assert found.distance_m == pytest.approx(expected, abs=ONE_MILLIMETRE)
    assert found.azimuth_deg[1] == pytest.approx(0.0, abs=1e-9)


def test_destination():
    latitude, longitude = destination([50.0, -36.0], [0.0, 179.0], [90.0, 53.5], [1e6, 5.85e6])
    for k, start in enumerate([(50.0, 0.0, 90.0, 1e6), (-36.0, 179.0, 53.5, 5.85e6)]):
        expected = Karney.WGS84.Direct(*start)
        assert (latitude[k], longitude[k]) == pytest.approx((expected["lat2"], expected["lon2"]), abs=1e-8)


def test_earth_fixed_coordinates_agree_with_proj():
    from pyproj import Transformer

    convert = Transformer.from_crs("EPSG:4979", "EPSG:4978")
    latitude, longitude = np.array([54.61, -36.0, 90.0, 0.0]), np.array([-2.93, 148.0, 0.0, 180.0])
    height = np.array([210.0, 95e3, -30.0, 0.0])
    assert earth_fixed_m(latitude, longitude, height) == pytest.approx(
        np.stack(convert.transform(latitude, longitude, height), axis=-1), abs=ONE_MILLIMETRE
    )


@given(st.floats(-90, 90), st.floats(-180, 180))
def test_local_axes_are_a_right_handed_frame(latitude, longitude):
    axes = local_axes(latitude, longitude)
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1.0)
