import math
import xml.etree.ElementTree as ET

import pytest

from skyglint.report.figures import hours


def bar(share=1.0, echoes=4, rate=4.0, low=2.3, high=6.8, start=0.0):
    return hours.Bar(start, share, echoes, rate, low, high)


def rectangles(bars, top=10.0):
    figure = ET.fromstring(hours.hour_bars("north-sea", bars, top))
    return [item for item in figure.iter("rect") if item.get("class") == "bar"], figure


def test_the_area_of_a_bar_is_its_count():
    # Half an hour with 4 echoes, and an hour with 8, have the same rate; areas stand as the counts do.
    (first, second), _ = rectangles([bar(0.5, 4, 8.0), bar(1.0, 8, 8.0)])
    area = [float(item.get("width")) * float(item.get("height")) for item in (first, second)]
    assert area[0] / area[1] == pytest.approx(0.5, rel=1e-3)


def test_an_hour_that_was_not_watched_is_hatched_and_has_no_count():
    bars, figure = rectangles([bar(0.0, 0, math.nan, math.nan, math.nan), bar()])
    assert len(bars) == 1
    assert sum(item.get("fill") == "url(#hatch)" for item in figure.iter("rect")) == 1
    assert [item.text for item in figure.iter("text") if item.get("class") == "count middle"] == ["4"]


def test_a_watched_hour_without_an_echo_shows_its_count_and_its_upper_limit():
    _, figure = rectangles([bar(1.0, 0, 0.0, 0.0, 1.84)])
    assert [item.text for item in figure.iter("text") if item.get("class") == "count middle"] == ["0"]
    (whisker,) = [item for item in figure.iter("line") if item.get("class") == "whisker"]
    base = hours.HEIGHT_PX - hours.BOTTOM_PX
    assert float(whisker.get("y1")) == pytest.approx(base)
    assert float(whisker.get("y2")) == pytest.approx(base - 0.184 * (base - hours.TOP_PX), abs=0.01)


def test_a_limit_beyond_the_top_ends_in_an_arrow():
    _, inside = rectangles([bar()])
    _, beyond = rectangles([bar(high=40.0)])
    assert not list(inside.iter("path"))
    assert len(list(beyond.iter("path"))) == 1


def test_short_watches_with_wild_limits_do_not_flatten_the_others():
    assert hours.ceiling([bar(high=6.8), bar(0.05, 1, 20.0, 3.0, 66.0)]) == pytest.approx(24.0)
    assert hours.ceiling([]) == 1.0


@pytest.mark.parametrize("top", [0.3, 1.0, 7.0, 12.0, 95.0, 2400.0])
def test_steps_are_one_two_or_five(top):
    step = hours.nice_step(top)
    assert 2.0 <= top / step <= 5.0 + 1e-9
    assert f"{step:.0e}"[0] in "125"
