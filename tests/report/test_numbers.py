import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.report import numbers

THIN = "\u202f"


# Particle Data Group, Review of Particle Physics, Introduction, "Rounding": its own two examples.
@pytest.mark.parametrize(
    ("value", "sd", "shown"), [(0.827, 0.119, "0.83 ± 0.12"), (0.827, 0.367, "0.8 ± 0.4"), (12.0, 0.97, "12.0 ± 1.0")]
)
def test_the_uncertainty_decides_how_many_digits_are_shown(value, sd, shown):
    assert numbers.measured(value, sd, "s") == f"{shown} s".replace(" ", THIN)


def test_large_uncertainties_round_before_the_point():
    assert numbers.measured(1234.0, 480.0, "Hz") == f"1200{THIN}±{THIN}500{THIN}Hz"
    assert numbers.measured(-34.6, 8.1, "Hz") == f"−35{THIN}±{THIN}8{THIN}Hz"


@pytest.mark.parametrize(("value", "sd"), [(math.nan, 1.0), (1.0, math.nan), (1.0, math.inf), (1.0, 0.0)])
def test_what_was_not_measured_is_blank(value, sd):
    assert numbers.measured(value, sd, "km") == ""


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e6))
def test_rounding_never_moves_a_value_by_more_than_a_third_of_its_error(value, sd):
    text = numbers.measured(value, sd, "").replace("−", "-").split(THIN)
    # The rule's worst cases: an error of 3.55 units of the last digit, and half a unit of rounding.
    assert abs(float(text[0]) - value) <= sd / 3.0
    assert float(text[2]) == pytest.approx(sd, rel=0.15)


def test_blank_numbers_stay_blank_and_never_become_zero():
    nan = math.nan
    blanks = [numbers.fixed(nan), numbers.quantity(nan, "dB"), numbers.interval(nan, 0.0, 1.0, "/ h")]
    assert [*blanks, numbers.clock(nan), numbers.span(nan)] == [""] * 5


def test_a_time_of_day_is_rounded_and_not_cut():
    assert numbers.clock(1786579199.9949) == "23:59:59.99"
    assert numbers.clock(1786579199.9951) == "00:00:00.00"
    # Minutes name the minute that a moment lies in.
    assert numbers.clock(1786579199.9951, -1) == "23:59"


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [(0.0, "0 s"), (9.996, "10 s"), (59.6, "1 min"), (3599.7, "1 h"), (86400.0, "24 h"), (3660.0, "1 h 1 min")],
)
def test_lengths_of_time_carry_over_into_the_larger_unit(seconds, shown):
    assert numbers.span(seconds).replace(THIN, " ") == shown


@given(st.floats(0.0, 2e5))
def test_a_length_of_time_reads_back_within_half_of_its_last_digit(seconds):
    units = {"h": 3600.0, "min": 60.0, "s": 1.0}
    words = numbers.span(seconds).replace(THIN, " ").split()
    read = sum(float(number) * units[unit] for number, unit in zip(words[::2], words[1::2], strict=True))
    half = 30.0 if seconds >= 3599.5 else 0.5 if seconds >= 9.995 else 0.005
    assert abs(read - seconds) <= half + 1e-6


def test_places_are_told_to_a_tenth_of_a_degree_on_every_side_of_the_globe():
    assert numbers.place(54.6, -2.9) == "54.6° N, 2.9° W"
    assert numbers.place(-41.3, 174.8) == "41.3° S, 174.8° E"
    assert numbers.place(0.0, -180.0) == "0.0° N, 180.0° W"


def test_an_interval_shows_the_digits_that_its_width_allows():
    assert numbers.interval(28.4, 22.7, 35.1, "/ h").replace(THIN, " ") == "28 (23 to 35) / h"
    assert numbers.interval(0.0, 0.0, 0.323, "/ h").replace(THIN, " ") == "0.00 (0.00 to 0.32) / h"


def test_counts_read_as_words():
    assert [numbers.counted(n, "echo", "echoes") for n in (0, 1, 87, 1204)] == [
        "no echoes",
        "1 echo",
        "87 echoes",
        f"1{THIN}204 echoes",
    ]
