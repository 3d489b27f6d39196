import math
import xml.etree.ElementTree as ET

import pytest

from skyglint.report.figures import solar_clock
from skyglint.report.figures.solar_clock import CENTRE_PX, SolarHour


# Noon up, midnight down, morning left: y of an SVG grows downwards.
@pytest.mark.parametrize(("hour", "x", "y"), [(12, 0, -1), (0, 0, 1), (24, 0, 1), (6, -1, 0), (18, 1, 0)])
def test_the_hours_stand_where_the_clock_says(hour, x, y):
    found = solar_clock.point(hour, 100.0)
    assert found == pytest.approx((CENTRE_PX + 100.0 * x, CENTRE_PX + 100.0 * y))


def parts(hours, name):
    figure = ET.fromstring(solar_clock.solar_clock("rates", hours, "12.3", "echoes / h"))
    return [item for item in figure.iter() if item.get("class") == name]


def test_a_watched_hour_is_filled_and_another_is_not():
    hours = [SolarHour(3, 3600.0, 10.0, 7.0, 14.0), SolarHour(4, 0.0, math.nan, math.nan, math.nan)]
    assert len(parts(hours, "bar")) == 1
    assert len(parts(hours, "whisker")) == 1


def test_a_watched_hour_without_an_echo_is_a_thin_line_on_the_hub():
    (sector,) = parts([SolarHour(3, 3600.0, 0.0, 0.0, 1.84)], "bar")
    assert f"A{solar_clock.INNER_PX + 1:g} " in sector.get("d")


def test_the_longest_bar_belongs_to_the_highest_rate_and_stays_inside():
    hours = [SolarHour(hour, 3600.0, rate, 0.8 * rate, 1.2 * rate) for hour, rate in ((2, 5.0), (5, 20.0))]
    reach = []
    for sector in parts(hours, "bar"):
        numbers = sector.get("d").replace("M", " ").replace("L", " ").replace("A", " ").replace("Z", " ").split()
        reach.append(max(float(number) for number in numbers[4:6]))
    assert reach[0] < reach[1] < solar_clock.OUTER_PX


def test_the_arc_lies_on_the_morning_side():
    for arc in parts([], "lead"):
        ends = arc.get("d").replace("A", " ").replace("M", "").split()
        assert all(float(x) < CENTRE_PX for x in (ends[0], ends[-2]))


def test_the_rate_stands_in_the_middle():
    (number,) = parts([], "large middle")
    assert number.text == "12.3"
