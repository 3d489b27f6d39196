"""Angles, numbers and grid references against worked conversions."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.transmitters import fields
from skyglint.transmitters.listing import BadRow


def test_packed_angles():
    # The Canadian extract's manual: 431530 is 43 deg 15 min 30 s; west longitudes there are positive.
    assert fields.compact_angle(431530, "x") == pytest.approx(43.258333, abs=1e-6)
    assert fields.compact_angle(-795512, "x") == pytest.approx(-79.92, abs=1e-9)
    with pytest.raises(BadRow, match="go to 59"):
        fields.compact_angle(436130, "x")


@pytest.mark.parametrize(
    ("text", "degrees"),
    [("34 50 07S", -34.835278), ("138 34 28E", 138.574444), ("-33 50 22", -33.839444), ("151 3 46", 151.062778),
     ("-33.5", -33.5)],
)  # fmt: skip
def test_spaced_angles(text, degrees):
    assert fields.spaced_angle(text, "x") == pytest.approx(degrees, abs=1e-6)


def test_numbers_ignore_units_and_know_what_is_missing():
    assert fields.number("100.   kW", "power") == 100.0
    assert fields.number("-12.5", "height") == -12.5
    assert math.isnan(fields.number("-      m", "height"))
    assert math.isnan(fields.number("       m", "height"))
    assert fields.number("-      kW", "power", missing=0.0) == 0.0
    with pytest.raises(BadRow, match="expected a number"):
        fields.number("ten kW", "power")
    with pytest.raises(BadRow, match="finite"):
        fields.number("inf", "power")


def test_grid_reference():
    # Ordnance Survey, A guide to coordinate systems in Great Britain, annex C: E 651409.903, N 313177.270 on the grid
    # is 52 39 27.2531 N, 1 43 4.5177 E on its own datum; on WGS 84 52 39 28.8282 N, 1 42 57.8663 E.
    latitude, longitude = fields.grid_reference("TG 51409 13177")
    assert latitude == pytest.approx(52 + 39 / 60 + 28.8282 / 3600, abs=1e-4)
    assert longitude == pytest.approx(1 + 42 / 60 + 57.8663 / 3600, abs=1e-4)


@pytest.mark.parametrize("text", ["", "TG 123", "II 1234", "AA 1234 5678", "TG 12345 123456"])
def test_bad_grid_references(text):
    with pytest.raises(BadRow, match="grid"):
        fields.grid_reference(text)


@given(st.integers(0, 89), st.integers(0, 59), st.floats(0, 59.99), st.sampled_from("NS"))
def test_angle_keeps_its_parts(degrees, minutes, seconds, letter):
    value = fields.angle(str(degrees), str(minutes), f"{seconds:.2f}", letter, "x")
    assert abs(value) == pytest.approx(degrees + minutes / 60 + round(seconds, 2) / 3600)
    assert math.copysign(1, value) == (-1 if letter == "S" else 1)
