import xml.etree.ElementTree as ET

import numpy as np

from skyglint.report.figures.floor import HEIGHT_PX, floor_strip
from skyglint.report.figures.timescale import TimeScale
from skyglint.store.records import CoverageSpan


def drawn(deviation_db, lost=()):
    times = np.linspace(0.0, 100.0, len(deviation_db))
    markup = floor_strip("floor", TimeScale(0.0, 100.0), times, np.array(deviation_db), 2.0, lost)
    return ET.fromstring(markup)


def test_the_median_runs_through_the_middle_and_a_rise_goes_up():
    (path,) = drawn([0.0, 1.0, -2.0]).iter("path")
    heights = [float(point.split()[1]) for point in path.get("d")[1:].split("L")]
    assert heights[0] == HEIGHT_PX / 2.0
    assert heights[1] < heights[0] < heights[2] <= HEIGHT_PX


def test_a_hole_breaks_the_line_and_shows_hatched():
    figure = drawn([0.0, np.nan, 0.1], [CoverageSpan("a", 30.0, 60.0, "lost", "receiver lost")])
    assert next(figure.iter("path")).get("d").count("M") == 2
    assert [item.get("x") for item in figure.iter("rect")] == ["30%"]


def test_what_leaves_the_strip_stays_at_its_edge():
    (path,) = drawn([50.0, -50.0]).iter("path")
    assert [float(point.split()[1]) for point in path.get("d")[1:].split("L")] == [2.0, HEIGHT_PX - 2.0]
