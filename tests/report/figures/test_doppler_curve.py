"""The Doppler curve: scale, ticks, gaps."""

import math
import re

import pytest

from skyglint.report.figures.doppler_curve import doppler_curve

START = 1_786_591_800.0  # 2026-08-13T03:30:00Z
NAN = math.nan


def curve(svg):
    return re.search(r'<path d="([^"]*)" class="curve"', svg)[1]


def test_falls_from_plus_to_minus():
    svg = doppler_curve("a beacon", [START, START + 300, START + 600], [3040.0, 0.0, -3040.0])
    heights = [float(pair.split(" ")[1]) for pair in re.split("[ML]", curve(svg))[1:]]
    assert heights[0] < heights[1] < heights[2]
    assert heights[0] + heights[2] == pytest.approx(2 * heights[1], abs=0.02)
    assert ">+5<" in svg
    assert ">0\u202fkHz<" in svg
    assert ">−5<" in svg
    assert ">03:35<" in svg


def test_small_shifts_are_in_hertz():
    assert ">0\u202fHz<" in doppler_curve("slow", [START, START + 600], [40.0, -40.0])


def test_shade_is_where_the_signal_comes():
    svg = doppler_curve("part", [START + 100 * k for k in range(5)], [NAN, 900.0, 100.0, NAN, NAN])
    x, width = (float(re.search(rf'<rect[^>]*\b{name}="([\d.]+)"', svg)[1]) for name in ("x", "width"))
    first, last = (float(pair.split(" ")[0]) for pair in re.split("[ML]", curve(svg))[1:])
    assert (x, x + width) == pytest.approx((first, last), abs=0.02)


@pytest.mark.parametrize("shift", [[NAN], [0.0], [12.0]])
def test_one_point(shift):
    assert "<svg" in doppler_curve("one", [START], shift)
