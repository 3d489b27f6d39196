"""The figures of the horizon experiment: true to scale, marks where they belong."""

import math
import re
import xml.etree.ElementTree as ElementTree

import pytest

from skyglint.report.figures.curvature import SIDE_PX, WIDTH_PX, curvature_figure
from skyglint.report.figures.levels import LevelMark, Model, levels_figure
from skyglint.report.figures.lit_path import lit_path


def parts(svg, name):
    return [part for part in ElementTree.fromstring(svg).iter() if (part.get("class") or "").split()[:1] == [name]]


def points(part):
    return [tuple(map(float, pair)) for pair in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", part.get("d"))]


@pytest.mark.parametrize("kilometres", [150.0, 700.0, 1800.0])
def test_the_round_path_is_to_scale(kilometres):
    svg = lit_path("a path", kilometres, is_round=True)
    site, sender = (tuple(float(end.get(axis)) for axis in ("cx", "cy")) for end in parts(svg, "end-point"))
    # The chord 2 R sin(d / 2R) and the sagitta R (1 - cos(d / 2R)) of a sphere of 6371 km.
    half = kilometres / 2 / 6371
    km_per_px = 2 * 6371 * math.sin(half) / (sender[0] - site[0])
    ground = points(parts(svg, "ground")[0])
    bulge = (site[1] - min(y for _, y in ground)) * km_per_px
    assert bulge == pytest.approx(6371 * (1 - math.cos(half)), abs=0.03 * km_per_px)
    layer = points(parts(svg, "layer")[0])
    top = min(y for _, y in layer)
    assert (min(y for _, y in ground) - top) * km_per_px == pytest.approx(95, abs=0.03 * km_per_px)
    assert site[1] == pytest.approx(sender[1])


def test_the_plane_has_the_same_scale_and_no_bulge():
    round_svg, plane_svg = (lit_path("a path", 700.0, is_round=is_round) for is_round in (True, False))
    ends = [tuple(float(end.get("cx")) for end in parts(svg, "end-point")) for svg in (round_svg, plane_svg)]
    assert ends[0] == pytest.approx(ends[1], abs=0.5)
    ground = points(parts(plane_svg, "ground")[0])
    assert len({y for _, y in ground}) == 2
    assert parts(round_svg, "chord")
    assert not parts(plane_svg, "chord")


def test_probability_lies_on_a_logarithmic_axis():
    radii = [3000.0, 6000.0, 12000.0]
    svg = curvature_figure("radius", radii, [0.0, 1.0, 0.0], ((5000.0, 7000.0), (4000.0, 9000.0)), (7645.0, 10194.0))
    xs = [x for x, _ in points(parts(svg, "ink-line")[0])]
    assert xs == pytest.approx([SIDE_PX, WIDTH_PX / 2, WIDTH_PX - SIDE_PX], abs=0.01)
    known = parts(svg, "known")[0]
    inner = WIDTH_PX - 2 * SIDE_PX
    assert float(known.get("x1")) == pytest.approx(SIDE_PX + inner * math.log(7645 / 3000) / math.log(4), abs=0.01)
    spans = [(float(part.get("x1")), float(part.get("x2"))) for part in parts(svg, "span")]
    assert spans[1][0] < spans[0][0] < WIDTH_PX / 2 < spans[0][1] < spans[1][1]


def test_levels_stand_where_they_were_measured():
    marks = [
        LevelMark(0.0, 0.0, "reading", "near <&>"),
        LevelMark(200.0, -40.0, "limit", "far"),
        LevelMark(100.0, -20.0, "wild", "hill"),
    ]
    line = [(0.0, 0.0), (200.0, -40.0)]
    svg = levels_figure(
        "levels", 400.0, marks, [Model("round Earth", line, line, line), Model("plane", line, line, line)]
    )
    reading, limit, wild = (parts(svg, name)[0] for name in ("reading", "limit", "not-fell"))
    curve = points(parts(svg, "curve")[0])
    assert (float(reading.get("cx")), float(reading.get("cy"))) == pytest.approx(curve[0], abs=0.01)
    x, y = points(limit)[0]
    assert (x + 4, y + 3) == pytest.approx(curve[1], abs=0.11)
    x, y = points(wild)[0]
    assert (x + 3, y + 3) == pytest.approx(((curve[0][0] + curve[1][0]) / 2, (curve[0][1] + curve[1][1]) / 2), abs=0.11)
    assert "near &lt;&amp;&gt;" in svg
