"""The diffuse-sky integral against areas counted with random lines and against the curves of single radiants."""

import numpy as np
import pytest

from skyglint.path import specular
from skyglint.path.diffuse import collecting, site_layer
from skyglint.path.geodesy import earth_fixed_m, local_axes
from skyglint.path.geometry import direction, unit

# Sites, radiant and mask; area (km^2) between 90 and 100 km counted with 1.5 million random parallel lines by
# bisection on the stationary path, on a sphere: A 45 N 75 W to 42 N 85 W, C 37.8 S 145 E to 33.9 S 151.2 E.
CASES = [
    ((45.0, -75.0), (42.0, -85.0), (0.364051, -0.028605, 0.930939), 3.0, 12000.0),
    ((-37.8, 145.0), (-33.9, 151.2), (-0.973612, -0.228137, -0.005786), 3.0, 17240.0),
    ((45.0, -75.0), (42.0, -85.0), (0.44187437, -0.28978928, 0.84898128), 3.0, 14280.0),
]


def radiant_area_m2(found, radiant, width_deg, depth_m):
    """Collecting area of a radiant smeared to a round Gaussian of the given standard deviation."""
    concentration = 1 / np.radians(width_deg) ** 2
    density = concentration / (2 * np.pi) * np.exp(concentration * (found.radiant @ radiant - 1))
    return float(np.sum(density * found.area_m2_per_sr) * depth_m)


@pytest.mark.parametrize(("transmitter", "receiver", "radiant", "mask", "area"), CASES)
def test_a_narrow_source_collects_what_random_lines_count(transmitter, receiver, radiant, mask, area):
    layer = site_layer(*receiver, 0.0, mask_deg=mask, step_m=15_000.0, azimuths=180)
    ends = earth_fixed_m(*transmitter, 0.0), local_axes(*transmitter)[2]
    found = collecting(layer, *ends, mask_deg=mask, directions=120)
    assert radiant_area_m2(found, np.array(radiant), 2.0, 10_000.0) / 1e6 == pytest.approx(area, rel=0.06)


def test_coarse_cells_serve_a_broad_source():
    receiver, transmitter = (42.0, -85.0), (45.0, -75.0)
    radiant = np.array([0.364051, -0.028605, 0.930939])
    ends = earth_fixed_m(*transmitter, 0.0), local_axes(*transmitter)[2]
    fine = collecting(site_layer(*receiver, 0.0, step_m=15_000.0, azimuths=180), *ends, directions=60)
    coarse = collecting(site_layer(*receiver, 0.0), *ends)
    expected = radiant_area_m2(fine, radiant, 12.0, 10_000.0)
    assert radiant_area_m2(coarse, radiant, 12.0, 10_000.0) == pytest.approx(expected, rel=0.05)


def test_agrees_with_the_curves_averaged_over_the_sky():
    # Both orders of integration over all radiants above the horizon at once: the mean area over the upper half sky.
    receiver, transmitter = (54.61, -2.93), (58.72, 6.05)
    found = collecting(
        site_layer(*receiver, 0.0, step_m=20_000.0, azimuths=120),
        earth_fixed_m(*transmitter, 0.0),
        local_axes(*transmitter)[2],
        directions=48,
    )
    layer = specular.common_layer((*transmitter, 0.0), (*receiver, 0.0))
    altitude, azimuth = np.meshgrid(np.arange(-10.5, 90, 3.0), np.arange(1.5, 360, 3.0), indexing="ij")
    radiants = direction(*layer.center_deg, azimuth, altitude)
    areas = specular.usable_curves(layer, radiants).total_area_km2.reshape(altitude.shape)
    over_the_sky = np.sum(areas * np.cos(np.radians(altitude))) * np.radians(3.0) ** 2
    assert np.sum(found.area_m2_per_sr) * 10_000.0 / 1e6 == pytest.approx(over_the_sky, rel=0.03)


def test_an_end_over_the_horizon_of_the_layer_collects_nothing():
    layer = site_layer(54.61, -2.93, 200.0)
    found = collecting(layer, earth_fixed_m(30.0, 60.0, 0.0), local_axes(30.0, 60.0)[2])
    assert found.cell.size == 0
    assert found.area_m2_per_sr.size == 0


def test_the_radiants_satisfy_the_specular_condition():
    layer = site_layer(-36.0, 179.5, 0.0)
    transmitter = earth_fixed_m(-38.0, -176.0, 0.0)
    found = collecting(layer, transmitter, local_axes(-38.0, -176.0)[2])
    points = layer.points_m[found.cell]
    for end in (transmitter, layer.receiver_m):
        assert np.all(np.isfinite(end - points))
    bisector = unit(transmitter - points) + unit(layer.receiver_m - points)
    assert np.abs(np.einsum("nmi,ni->nm", found.radiant, bisector)).max() < 1e-12
    assert np.all(found.rising >= 0)
