import time

import numpy as np
import pytest
from scipy.optimize import brentq

from skyglint.path.geodesy import earth_fixed_m, local_axes
from skyglint.path.geometry import direction, look, trail_geometry
from skyglint.path.specular import Layer, common_layer, layer_of_points, usable_curves

SPHERE_M = 6_371_000.0
SHELL_M = SPHERE_M + 95_000.0

# Transmitter and site (latitude, longitude), radiant (azimuth, altitude, latitude and longitude of the place).
A_ENDS, A_RADIANT = ((45.0, -75.0), (42.0, -85.0)), direction(43.5, -80.0, 30.0, 45.0)
B_ENDS, B_RADIANT = ((48.0, 0.0), (48.0, 16.0)), direction(48.0, 8.0, 100.0, 60.0)
C_ENDS, C_RADIANT = ((-37.8, 145.0), (-33.9, 151.2)), direction(-36.0, 148.0, 60.0, 35.0)
# Perseids, right ascension 48, declination 58 (J2000), 2026-08-13 08:00 UTC in Earth-fixed axes.
D_RADIANT = np.array([0.44187437, -0.28978928, 0.84898128])

# Longitude and latitude of the reflecting point, azimuth, elevation and range (km) from the site and from the
# transmitter, twice phi, beta: spherical Earth of 6371 km, layer at 95 km. Found by brute force (the residual at 2001
# latitudes, roots by Brent's method) and checked to be minima of the path length along the trail.
POINTS = [
    (A_ENDS, A_RADIANT, -84, 41.64375, 115.216, 45.341, 132.61, 246.004, 2.895, 828.46, 104.605, 49.976),
    (A_ENDS, A_RADIANT, -82, 41.79103, 94.343, 19.589, 268.58, 240.195, 5.018, 679.69, 128.087, 55.000),
    (A_ENDS, A_RADIANT, -80, 42.06776, 87.281, 11.001, 426.66, 232.774, 7.976, 530.54, 130.800, 55.812),
    (A_ENDS, A_RADIANT, -78, 42.26273, 84.757, 6.664, 589.61, 219.468, 11.894, 402.64, 121.710, 55.646),
    (A_ENDS, A_RADIANT, -76, 42.02340, 86.785, 3.881, 754.33, 194.039, 13.937, 356.05, 96.793, 53.914),
    (B_ENDS, B_RADIANT, 2, 43.96423, 252.623, -0.657, 1179.84, 160.273, 9.099, 487.34, 78.895, 56.524),
    (B_ENDS, B_RADIANT, 2, 50.67868, 291.609, 0.349, 1066.18, 25.188, 14.400, 346.89, 101.775, 57.798),
    (B_ENDS, B_RADIANT, 5, 52.54600, 307.039, 1.604, 940.31, 33.205, 5.898, 629.12, 96.213, 59.991),
    (B_ENDS, B_RADIANT, 8, 54.94596, 327.420, 1.394, 960.14, 32.580, 1.394, 960.14, 76.331, 60.501),
    (C_ENDS, C_RADIANT, 145, -32.17614, 286.640, 6.061, 620.37, 0.000, 5.756, 636.86, 68.386, 35.906),
    (C_ENDS, C_RADIANT, 147, -38.59161, 214.605, 5.440, 654.69, 117.347, 24.847, 218.83, 94.581, 26.924),
    (C_ENDS, C_RADIANT, 148, -39.01328, 205.780, 5.559, 647.88, 118.225, 16.449, 311.16, 87.559, 30.404),
    (C_ENDS, C_RADIANT, 149, -39.59475, 196.550, 5.109, 674.16, 121.134, 11.449, 414.30, 76.887, 32.257),
    (C_ENDS, C_RADIANT, 151, -41.16180, 181.191, 3.019, 818.65, 127.858, 5.566, 647.53, 56.180, 34.007),
]

# Length of the usable curve (km) and collecting area (km2) for 90 to 100 km: a line integral by brute force; counting
# 1.5 million random parallel lines through the band agreed within its error of 1 to 2 %.
AREAS = [
    (A_ENDS, A_RADIANT, 0, 1607, 23950),
    (A_ENDS, A_RADIANT, 3, 743, 12070),
    (B_ENDS, B_RADIANT, 0, 849, 19660),
    (B_ENDS, B_RADIANT, 3, 0, 0),
    (C_ENDS, C_RADIANT, 0, 2136, 26190),
    (C_ENDS, C_RADIANT, 3, 1485, 17880),
    (A_ENDS, D_RADIANT, 0, 1808, 34050),
    (A_ENDS, D_RADIANT, 3, 653, 14210),
]

# The Perseids through 2026-08-13, whole hours 0 to 23 UTC, ends of case A, masks of 3 degrees, as above.
DAY_KM = [759, 764, 768, 784, 794, 777, 747, 707, 651, 591, 546, 563, 631, 685, 720, 736]
DAY_KM += [746, 749, 752, 756, 760, 760, 756, 758]
DAY_KM2 = [7150, 7020, 7140, 7900, 9170, 10470, 11700, 12930, 14180, 15580, 17200, 18840, 18750, 16660, 14270, 12070]
DAY_KM2 += [10410, 9240, 8560, 8200, 8010, 7830, 7600, 7380]


def sphere_m(latitude_deg, longitude_deg, radius_m=SPHERE_M):
    return radius_m * local_axes(latitude_deg, longitude_deg)[..., 2, :]


def sphere_look(place_deg, point_m):
    east, north, up = local_axes(*place_deg) @ (point_m - sphere_m(*place_deg))
    azimuth, elevation = np.degrees(np.arctan2(east, north)) % 360, np.degrees(np.arctan2(up, np.hypot(east, north)))
    return [azimuth, elevation, np.sqrt(east**2 + north**2 + up**2) / 1e3]


def ends_on(ends, height_m=0.0):
    return tuple((*end, height_m) for end in ends)


def day_of_perseids():
    """Turn case D's direction about the Earth's axis by 15.041 degrees an hour (precession in a day is nothing)."""
    angle = np.radians(-15.04106864 * (np.arange(24) - 8))
    x, y, z = D_RADIANT
    turned = [x * np.cos(angle) - y * np.sin(angle), x * np.sin(angle) + y * np.cos(angle), np.full(24, z)]
    return np.stack(turned, axis=-1)


@pytest.mark.parametrize("case", POINTS)
def test_reflecting_points_on_a_sphere(case):
    ends, radiant, longitude_deg, latitude_deg, *expected = case
    transmitter, receiver = sphere_m(*ends[0]), sphere_m(*ends[1])

    def residual(latitude):
        point = sphere_m(latitude, longitude_deg, SHELL_M)
        layer = Layer(
            transmitter, receiver, point[None], point[None] / SHELL_M, np.zeros(1), np.zeros((0, 3), int), (0, 0)
        )
        return float(layer.bisectors[0] @ radiant)

    root = brentq(residual, latitude_deg - 0.5, latitude_deg + 0.5, xtol=1e-9)
    assert root == pytest.approx(latitude_deg, abs=1e-4)
    point = sphere_m(root, longitude_deg, SHELL_M)
    seen = sphere_look(ends[1], point) + sphere_look(ends[0], point)
    for found, wanted in zip(seen, expected[:6], strict=True):
        assert (found - wanted + 180) % 360 - 180 == pytest.approx(0, abs=0.006)
    geometry = trail_geometry(transmitter, receiver, point, radiant)
    assert [2 * float(geometry.phi_deg), float(geometry.beta_deg)] == pytest.approx(expected[6:], abs=0.006)


@pytest.mark.parametrize(
    ("longitude_deg", "latitude_deg"),
    [(-84, 41.64278), (-82, 41.79073), (-80, 42.06835), (-78, 42.26440), (-76, 42.02480)],
)
def test_the_curve_on_the_ellipsoid_passes_through_the_reflecting_points(longitude_deg, latitude_deg):
    # Case A on WGS84, brute force as above. The curve's pieces come from cells of 25 km: true to a few hundred metres.
    curves = usable_curves(common_layer(*ends_on(A_ENDS), mask_deg=(0, 0)), A_RADIANT)
    point = earth_fixed_m(latitude_deg, longitude_deg, 95_000.0)
    offset = curves.points_m - point
    nearest = np.argsort(np.linalg.norm(offset, axis=1))[:2]
    along = np.diff(curves.points_m[nearest], axis=0)[0]
    along /= np.linalg.norm(along)
    away = offset[nearest[0]] - (offset[nearest[0]] @ along) * along
    assert np.linalg.norm(away) < 500


def test_the_reflecting_points_lie_on_the_far_side_of_the_path():
    # The radiant of case A stands north-north-east: all points are south of the great circle, which passes longitude
    # -80 near latitude 43.6.
    curves = usable_curves(common_layer(*ends_on(A_ENDS)), A_RADIANT)
    north = local_axes(43.6, -80.0)[1]
    assert np.all(curves.points_m @ north < earth_fixed_m(43.6, -80.0, 95_000.0) @ north)


@pytest.mark.parametrize("cell_m", [25_000.0, 50_000.0])
@pytest.mark.parametrize(("ends", "radiant", "mask_deg", "length_km", "area_km2"), AREAS)
def test_collecting_area(ends, radiant, mask_deg, length_km, area_km2, cell_m):
    layer = common_layer(*ends_on(ends), mask_deg=(mask_deg, mask_deg), cell_m=cell_m)
    curves = usable_curves(layer, radiant)
    assert float(curves.total_length_km[0]) == pytest.approx(length_km, rel=0.01)
    assert float(curves.total_area_km2[0]) == pytest.approx(area_km2, rel=0.015)


def test_a_day_of_one_shower():
    curves = usable_curves(common_layer(*ends_on(A_ENDS)), day_of_perseids())
    np.testing.assert_allclose(curves.total_length_km, DAY_KM, rtol=0.01)
    np.testing.assert_allclose(curves.total_area_km2, DAY_KM2, rtol=0.03)
    # The curve is shortest at culmination (10 h) while the area is about its largest: a length is no observability.
    assert np.argmin(curves.total_length_km) == 10
    assert 10 <= np.argmax(curves.total_area_km2) <= 12


def test_a_day_is_fast():
    layer = common_layer(*ends_on(A_ENDS))
    started = time.perf_counter()
    usable_curves(layer, np.tile(day_of_perseids(), (10, 1)))
    assert time.perf_counter() - started < 0.5


def test_echoes_an_hour_of_a_known_flux():
    # Koschack & Rendtel's visual flux of the Perseids at ZHR 100 (0.02651 per km2 and hour to magnitude 6.5) through
    # case D: 376.7 specular trails an hour.
    area = float(usable_curves(common_layer(*ends_on(A_ENDS)), D_RADIANT).total_area_km2[0])
    assert 0.02651 * area == pytest.approx(376.7, rel=0.01)


@pytest.mark.parametrize("slanting", [False, True])
def test_counting_random_lines_gives_the_same_area(slanting):
    """A second method: parallel lines through a disc, the one specular point of each found by Newton's method."""
    generator = np.random.default_rng(20260813)
    (transmitter, receiver), radius = earth_fixed_m(*np.transpose(ends_on(A_ENDS))), 900_000.0
    u = D_RADIANT
    center = earth_fixed_m(43.61, -80.12, 95_000.0)
    across = np.cross(u, [0.0, 0.0, 1.0])
    across /= np.linalg.norm(across)
    other = np.cross(u, across)
    n = 200_000
    r, angle = radius * np.sqrt(generator.random(n)), 2 * np.pi * generator.random(n)
    p = center + (r * np.cos(angle))[:, None] * across + (r * np.sin(angle))[:, None] * other
    for _ in range(12):
        to = [end - p for end in (transmitter, receiver)]
        ranges = [np.linalg.norm(line, axis=1) for line in to]
        cosines = [line @ u / length for line, length in zip(to, ranges, strict=True)]
        bend = sum((1 - c**2) / length for c, length in zip(cosines, ranges, strict=True))
        p = p + np.clip((cosines[0] + cosines[1]) / bend, -3e5, 3e5)[:, None] * u
    latitude_deg = np.degrees(np.arctan2(p[:, 2], np.hypot(p[:, 0], p[:, 1]) * (1 - 0.00669438)))
    sine, normal = np.sin(np.radians(latitude_deg)), 6_378_137.0
    normal = normal / np.sqrt(1 - 0.00669438 * sine**2)
    height = np.hypot(p[:, 0], p[:, 1]) / np.cos(np.radians(latitude_deg)) - normal
    seen = [look(*end, p).elevation_deg >= 3 for end in ends_on(A_ENDS)]
    hit = (np.abs(height - 95_000) < 5_000) & seen[0] & seen[1]
    value = np.ones(n)
    if slanting:  # thinner ionisation of slanting trails, and the Fresnel zone's length
        rising = (p / np.linalg.norm(p, axis=1, keepdims=True)) @ u
        value = np.maximum(rising, 0) / np.sqrt(trail_geometry(transmitter, receiver, p, u).obliquity)
    counted_km2 = np.sum(value[hit]) / n * np.pi * radius**2 / 1e6
    curves = usable_curves(common_layer(*ends_on(A_ENDS)), u)
    factor = curves.rising / np.sqrt(trail_geometry(transmitter, receiver, curves.points_m, u).obliquity)
    area = np.sum(curves.area_m2 * (factor if slanting else 1.0)) / 1e6
    assert hit.sum() > 1000
    assert area == pytest.approx(counted_km2, rel=0.07)  # about 1100 lines: 3 % at one sigma


def test_many_radiants_are_each_their_own():
    layer = common_layer(*ends_on(A_ENDS), cell_m=50_000.0)
    one, many = usable_curves(layer, day_of_perseids()), usable_curves(layer, np.tile(day_of_perseids(), (100, 1)))
    np.testing.assert_array_equal(many.total_area_km2.reshape(100, 24), np.tile(one.total_area_km2, (100, 1)))
    assert usable_curves(layer, np.empty((0, 3))).total_area_km2.shape == (0,)


def test_swapping_the_ends_changes_nothing():
    there, back = common_layer(*ends_on(A_ENDS)), common_layer(*ends_on(A_ENDS[::-1]))
    areas = [usable_curves(layer, day_of_perseids()).total_area_km2 for layer in (there, back)]
    np.testing.assert_allclose(areas[0], areas[1], rtol=0.01)


def test_the_date_line_and_the_poles_are_no_edges():
    # Turning the whole set-up about the Earth's axis changes nothing; nor does a path across the pole break.
    east = common_layer((45.0, 175.0, 0.0), (42.0, 165.0, 0.0))
    over = common_layer((45.0, -175.0, 0.0), (42.0, 175.0, 0.0))
    radiants = [direction(43.5, longitude, 30.0, 45.0) for longitude in (170.0, 180.0)]
    areas = [float(usable_curves(layer, u).total_area_km2[0]) for layer, u in zip((east, over), radiants, strict=True)]
    assert areas[0] == pytest.approx(areas[1], rel=1e-6)
    polar = common_layer((86.0, 0.0, 0.0), (86.0, 180.0, 0.0))
    assert float(usable_curves(polar, direction(90.0, 0.0, 60.0, 50.0)).total_area_km2[0]) > 1000


def test_hemispheres_mirror_each_other():
    north = usable_curves(common_layer((37.8, 145.0, 0.0), (33.9, 151.2, 0.0)), direction(36.0, 148.0, 120.0, 35.0))
    south = usable_curves(common_layer(*ends_on(C_ENDS)), C_RADIANT)
    assert float(north.total_area_km2[0]) == pytest.approx(float(south.total_area_km2[0]), rel=0.01)


def test_nothing_is_seen_below_the_horizon_or_too_far_away():
    layer = common_layer(*ends_on(A_ENDS))
    below = usable_curves(layer, direction(43.6, -80.1, [30.0, 200.0], -14.0))
    assert below.total_area_km2.tolist() == [0.0, 0.0]
    far = common_layer((45.0, -75.0, 0.0), (42.0, -120.0, 0.0))
    assert len(far.triangles) == 0
    assert usable_curves(far, day_of_perseids()).total_area_km2.tolist() == [0.0] * 24


def test_one_end_over_the_other_gives_a_backscatter_ring():
    # Monostatic: the points stand at right angles to the radiant, so all see it at the same range rate of zero.
    layer = common_layer((45.0, 10.0, 0.0), (45.0, 10.0, 0.0), mask_deg=(20, 20))
    u = direction(45.0, 10.0, 90.0, 40.0)
    curves = usable_curves(layer, u)
    lines = curves.points_m - earth_fixed_m(45.0, 10.0, 0.0)
    assert np.abs(lines @ u / np.linalg.norm(lines, axis=1)).max() < 0.005
    assert float(curves.total_length_km[0]) > 100


def test_a_mask_at_either_end_only_takes_away():
    full = usable_curves(common_layer(*ends_on(A_ENDS), mask_deg=(2, 2)), D_RADIANT).total_area_km2[0]
    for mask in ((8, 2), (2, 8)):
        assert usable_curves(common_layer(*ends_on(A_ENDS), mask_deg=mask), D_RADIANT).total_area_km2[0] < full
    rough = common_layer(*ends_on(A_ENDS), mask_deg=(2, 8))
    curves = usable_curves(rough, D_RADIANT)
    assert look(*A_ENDS[1], 0.0, curves.points_m).elevation_deg.min() > 7.9
    assert look(*A_ENDS[0], 0.0, curves.points_m).elevation_deg.min() > 1.9


def test_a_layer_of_a_spherical_earth():
    latitude, longitude = np.meshgrid(np.arange(34, 52, 0.2), np.arange(-96, -64, 0.25), indexing="ij")
    points = sphere_m(latitude.ravel(), longitude.ravel(), SHELL_M)
    ends = np.stack([sphere_m(*end) for end in A_ENDS])
    layer = layer_of_points(
        ends, ends / SPHERE_M, points, points / SHELL_M, latitude.shape, (3.0, 3.0), (43.609, -80.1246)
    )
    curves = usable_curves(layer, A_RADIANT)
    assert float(curves.total_length_km[0]) == pytest.approx(743, rel=0.01)
    assert float(curves.total_area_km2[0]) == pytest.approx(12070, rel=0.01)
