import xml.etree.ElementTree as ET

import numpy as np
import pytest
from pyproj import Geod, Transformer

from skyglint.report.figures import section

SPHERE = "+proj=latlong +R=6371000 +no_defs"
CENTRED = "+proj=geocent +R=6371000 +units=m +no_defs"


@pytest.mark.parametrize("distance_km", [120.0, 388.0, 742.0, 1450.0])
def test_the_geometry_agrees_with_vectors_on_a_sphere(distance_km):
    # Independent: PROJ places both ends and the trail on a sphere; the rest is vectors.
    line = Geod(a=6_371_000.0, b=6_371_000.0)
    to_xyz = Transformer.from_crs(SPHERE, CENTRED, always_xy=True)
    (far_lon, far_lat, _), (mid_lon, mid_lat, _) = (
        line.fwd(-2.9, 54.6, 46.0, 1000.0 * part * distance_km) for part in (1.0, 0.5)
    )
    ends = np.array([to_xyz.transform(-2.9, 54.6, 0.0), to_xyz.transform(far_lon, far_lat, 0.0)])
    trail = np.array(to_xyz.transform(mid_lon, mid_lat, 95_000.0))
    path = section.section_of(distance_km)
    assert path.chord_km == pytest.approx(np.linalg.norm(ends[1] - ends[0]) / 1000.0, abs=1e-3)
    assert path.sagitta_km == pytest.approx(6371.0 - np.linalg.norm(ends.mean(axis=0)) / 1000.0, abs=1e-3)
    ray, up = trail - ends[0], ends[0] / np.linalg.norm(ends[0])
    assert path.elevation_deg == pytest.approx(np.degrees(np.arcsin(ray @ up / np.linalg.norm(ray))), abs=1e-3)


def test_a_trail_is_hidden_when_the_path_is_too_long():
    # Common practice: two places share a trail at 95 km up to about 2,200 km apart.
    assert section.section_of(2150.0).elevation_deg > 0.0 > section.section_of(2250.0).elevation_deg


@pytest.mark.parametrize("distance_km", [300.0, 742.0, 1600.0])
def test_heights_and_distances_have_one_scale(distance_km):
    path = section.section_of(distance_km)
    km_per_px = section.scale_for([distance_km])
    figure = ET.fromstring(section.cross_section("path", path, km_per_px))
    (ray,) = [item.get("d") for item in figure.iter("path") if item.get("class") == "ray"]
    (x1, y1), (x2, y2), (x3, y3) = (map(float, point.split()) for point in ray[1:].split("L"))
    assert x3 - x1 == pytest.approx(path.chord_km / km_per_px, abs=0.03)
    assert y1 - y2 == pytest.approx((95.0 + path.sagitta_km) / km_per_px, abs=0.03)
    assert y1 == pytest.approx(y3, abs=0.02)
    assert x2 == pytest.approx((x1 + x3) / 2.0, abs=0.02)


def test_the_ground_rises_above_the_straight_line():
    path = section.section_of(1200.0)
    figure = ET.fromstring(section.cross_section("path", path, 5.0))
    (ground,) = [item.get("d") for item in figure.iter("path") if item.get("class") == "ground"]
    (chord,) = [item.get("d") for item in figure.iter("path") if item.get("class") == "chord"]
    heights = [float(point.split()[1].rstrip("Z")) for point in ground[1:].split("L")]
    base = float(chord[1:].split("L")[0].split()[1])
    assert base - min(heights) == pytest.approx(path.sagitta_km / 5.0, abs=0.02)
