"""Encodings: scaling at the rails, and encode as the inverse of Block.samples."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from skyglint.errors import RequestError
from skyglint.signals.block import Block
from skyglint.signals.encodings import ENCODINGS, encode, encoding_named, rails

INTEGERS = [name for name, encoding in ENCODINGS.items() if encoding.dtype.kind != "f"]


def samples_of(values, name):
    return Block(values, ENCODINGS[name], 0, 0.0, 0, 1.0, 1.0).samples


def test_offset_binary_is_symmetric_about_the_middle_of_its_rails():
    assert samples_of(np.array([0, 255, 255, 0], np.uint8), "cu8").tolist() == [-1 + 1j, 1 - 1j]
    assert samples_of(np.array([127, 128], np.uint8), "cu8")[0] == pytest.approx((-1 + 1j) / 255)


def test_twos_complement_reaches_minus_one():
    assert samples_of(np.array([-128, 127], np.int8), "ci8").tolist() == [-1 + 0.9921875j]
    assert samples_of(np.array([-32768, 16384], ">i2"), "ci16_be").tolist() == [-1 + 0.5j]


def test_real_samples_run_to_two():
    assert samples_of(np.array([-32768, 0], "<i2"), "ri16_le").tolist() == [-2, 0]
    assert samples_of(np.array([1.0, -0.5], "<f4"), "rf32_le").tolist() == [2, -1]


@settings(max_examples=100, deadline=None)
@given(name=st.sampled_from(INTEGERS), data=st.data())
def test_raw_values_of_up_to_16_bits_survive_scaling_and_encoding(name, data):
    encoding = ENCODINGS[name]
    if encoding.dtype.itemsize > 2:
        return
    values = data.draw(arrays(encoding.dtype, 2 * data.draw(st.integers(1, 50))))
    again = encode(samples_of(values, name), encoding)
    assert again.dtype == encoding.dtype
    assert np.array_equal(again, values)


@pytest.mark.parametrize("name", INTEGERS)
def test_what_is_beyond_full_scale_is_clipped_at_the_rails(name):
    low, high = rails(ENCODINGS[name])
    values = encode(np.array([9 + 9j, -9 - 9j], np.complex64), ENCODINGS[name]).astype(float)
    assert (values.max(), values.min()) == (high, low)


@pytest.mark.parametrize("name", ["cf32_le", "cf32_be"])
def test_floats_are_not_clipped(name):
    samples = np.array([9 + 9j, -9 - 9j, 0.1 + 1e-9j], np.complex64)
    assert np.array_equal(samples_of(encode(samples, ENCODINGS[name]), name), samples)
    assert rails(ENCODINGS[name]) == (-1, 1)
    assert rails(ENCODINGS["r" + name[1:]]) == (-1, 1)


def test_an_unknown_name_lists_the_known():
    with pytest.raises(RequestError, match='encoding "cu12" is unknown: expected one of cf32_be, cf32_le'):
        encoding_named("cu12")
