"""The sky track: directions stand where a map of the sky has them, light is told by more than colour."""

import re

import pytest

from skyglint.report.figures.sky_track import SIZE_PX, at, sky_track

MIDDLE = SIZE_PX / 2


@pytest.mark.parametrize(
    ("direction", "sign_x", "sign_y"), [((0, 0), 0, -1), ((90, 0), 1, 0), ((180, 0), 0, 1), ((270, 0), -1, 0)]
)
def test_north_is_up_and_east_to_the_right(direction, sign_x, sign_y):
    x, y = at(*direction)
    rim = MIDDLE - at(0, 0)[1]
    assert (x - MIDDLE, y - MIDDLE) == pytest.approx((sign_x * rim, sign_y * rim))


def test_distance_from_the_zenith_is_to_scale():
    rim = at(90, 0)[0] - MIDDLE
    assert at(123, 90) == pytest.approx((MIDDLE, MIDDLE))
    assert at(90, 60)[0] - MIDDLE == pytest.approx(rim / 3)
    assert at(90, -0.4)[0] - MIDDLE == pytest.approx(rim)


def test_light_and_shadow_are_lines_of_their_own_and_join():
    svg = sky_track("a pass", [10, 50, 90, 130], [0, 20, 20, 0], [True, True, False, False], [(0, "05:22")])
    lines = dict(re.findall(r'<path d="([^"]*)" class="(lit|shadow)"', svg))
    lit, shadow = sorted(lines, key=lambda data: lines[data])
    assert lit.count("L") == 2
    assert shadow.startswith("M" + lit.rpartition("L")[2])
    assert "05:22" in svg
    assert 'aria-label="a pass"' in svg


def test_words_do_not_cover_each_other():
    svg = sky_track("short", [10, 11], [0, 1], [True, True], [(0, "05:22"), (1, "05:23")])
    assert "05:22" in svg
    assert "05:23" not in svg


def test_a_single_point_is_drawn():
    assert 'class="goes"' in sky_track("one", [10], [5], [False], [(0, "05:22")])
