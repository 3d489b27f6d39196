import math
import xml.etree.ElementTree as ET

from hypothesis import given
from hypothesis import strategies as st

from skyglint.report.figures import svg


@given(st.text(st.characters(exclude_categories=("Cs", "Cc"))))
def test_any_text_comes_through_as_text_and_as_an_attribute(text):
    parsed = ET.fromstring(svg.element("text", text, aria_label=text))
    assert (parsed.text or "") == text
    assert parsed.get("aria-label") == text


def test_markup_made_here_is_kept_and_foreign_text_is_not():
    inner = svg.element("title", "<script>")
    assert svg.element("g", inner, "<b>") == "<g><title>&lt;script&gt;</title>&lt;b&gt;</g>"


@given(st.floats(-1e5, 1e5))
def test_a_coordinate_is_short_and_close(value):
    text = svg.short(value)
    assert abs(float(text) - value) <= 0.005 + 1e-9
    assert text != "-0"


def test_a_line_breaks_where_nothing_is_known():
    points = [(0.0, 1.0), (1.0, 2.0), (2.0, math.nan), (3.0, 4.0)]
    assert svg.polyline(points) == "M0 1L1 2M3 4"
    assert svg.area(points, 9.0) == "M0 9L0 1L1 2L1 9ZM3 9L3 4L3 9Z"


def test_nothing_known_draws_nothing():
    assert svg.polyline([]) == svg.area([(0.0, math.nan)], 5.0) == ""
