import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.simulate import rds_encoder as rds

# Information word, block -> check bits: EN 50067 sec. 2.3, computed by plain polynomial division and confirmed with an
# independent encoder and decoder of the same standard.
CHECKWORDS = [
    (0x0000, 0, 0x0FC),
    (0xFFFF, 0, 0x031),
    (0x0001, 0, 0x145),
    (0x1234, 0, 0x06A),
    (0x54A8, 0, 0x3CA),
    (0xC201, 0, 0x26D),
    (0xABCD, 1, 0x1C3),
    (0x2020, 2, 0x000),
    (0x4D45, 3, 0x175),
    (0x8000, 3, 0x1C3),
]

PI = 0x54A8
# Groups that a second decoder read as name "TESTFM 1", text "HELLO BURST", 2026-08-12 21:30 UTC, offset -4 h.
GROUPS = [
    (rds.name_group(PI, 0, "TESTFM 1", 10), (0x54A8, 0x0148, 0xE0CD, 0x5445), (0x3CA, 0x270, 0x1E9, 0x1FB)),
    (rds.name_group(PI, 1, "TESTFM 1", 10), (0x54A8, 0x0149, 0xE0CD, 0x5354), (0x3CA, 0x3C9, 0x1E9, 0x1E9)),
    (rds.name_group(PI, 2, "TESTFM 1", 10), (0x54A8, 0x014A, 0xE0CD, 0x464D), (0x3CA, 0x102, 0x1E9, 0x04B)),
    (rds.name_group(PI, 3, "TESTFM 1", 10), (0x54A8, 0x014B, 0xE0CD, 0x2031), (0x3CA, 0x0BB, 0x1E9, 0x2DA)),
    (rds.text_group(PI, 0, "HELLO BURST", 10), (0x54A8, 0x2140, 0x4845, 0x4C4C), (0x3CA, 0x2DC, 0x205, 0x313)),
    (rds.text_group(PI, 1, "HELLO BURST", 10), (0x54A8, 0x2141, 0x4F20, 0x4255), (0x3CA, 0x365, 0x005, 0x387)),
    (rds.text_group(PI, 2, "HELLO BURST", 10), (0x54A8, 0x2142, 0x5253, 0x540D), (0x3CA, 0x1AE, 0x07F, 0x2CF)),
    (rds.clock_group(PI, 1786570200.0, -8, 10), (0x54A8, 0x4141, 0xDEA1, 0x57A8), (0x3CA, 0x22D, 0x272, 0x3E6)),
]


@pytest.mark.parametrize(("information", "block", "expected"), CHECKWORDS)
def test_checkword(information, block, expected):
    assert rds.checkword(information, block) == expected


@pytest.mark.parametrize(("group", "words", "checks"), GROUPS)
def test_groups_of_the_check_stream(group, words, checks):
    assert group == words
    sent = int("".join(map(str, rds.group_bits(group))), 2)
    blocks = [sent >> 26 * (3 - block) & 0x3FFFFFF for block in range(4)]
    assert blocks == [word << 10 | check for word, check in zip(words, checks, strict=True)]


def test_a_block_in_bits():
    # 1234 in block A: 0001001000110100 0001101010.
    assert "".join(map(str, rds.group_bits((0x1234, 0, 0, 0))[:26])) == "00010010001101000001101010"


@given(st.lists(st.integers(0, 1), min_size=2, max_size=300))
def test_differential_coding_survives_a_phase_flip(bits):
    # Receiver rule of EN 50067 sec. 1.6: data(i) = received(i) XOR received(i-1).
    data = np.array(bits, dtype=np.uint8)
    sent = rds.differential(data)
    for received in (sent, 1 - sent):
        np.testing.assert_array_equal(received[1:] ^ received[:-1], data[1:])


def test_programme_repeats_name_and_text_and_tells_the_minute():
    bits = rds.programme_bits(0xF3A7, "HARROW", "A FELL", 1786586395.0, 120)
    assert len(bits) == 120 * 104
    words = bits.reshape(120, 4, 26)[:, :, :16]
    values = (words * (1 << np.arange(15, -1, -1))).sum(axis=-1)
    assert set(values[:, 0]) == {0xF3A7}
    kinds = values[:, 1] >> 12
    assert set(kinds) == {0, 2, 4}
    # 2026-08-13 02:00:00 UTC is 5 s after the start: the first group that begins after it tells 02:00.
    clock = values[np.flatnonzero(kinds == 4)[0]]
    assert np.flatnonzero(kinds == 4)[0] == int(np.ceil(5.0 * 1187.5 / 104))
    assert (clock[1] & 3) << 15 | clock[2] >> 1 == 61265  # Modified Julian Date of 2026-08-13
    assert ((clock[2] & 1) << 4 | clock[3] >> 12, clock[3] >> 6 & 63) == (2, 0)


def test_waveform_has_the_spectrum_of_the_standard():
    # EN 50067 sec. 1.7: H(f) = cos(pi f td / 4) up to 2/td = 2375 Hz, for impulse pairs of |2 sin(pi f td / 2)|.
    random = np.random.default_rng(3)
    sent = random.integers(0, 2, 4000).astype(np.uint8)
    bit = np.arange(10, 3990, 1 / 32)
    power = np.abs(np.fft.rfft(rds.waveform(sent, bit, rds.biphase_table()) * np.hanning(len(bit)))) ** 2
    frequency_hz = np.fft.rfftfreq(len(bit), 1 / (32 * rds.BIT_RATE_HZ))
    assert power[frequency_hz > 2400].sum() / power.sum() < 1e-4
    edges = np.arange(100, 2400, 200)
    measured = np.array([power[(frequency_hz >= a) & (frequency_hz < a + 200)].mean() for a in edges])
    centre = (edges + 100) / rds.BIT_RATE_HZ
    theory = (2 * np.sin(np.pi * centre / 2) * np.cos(np.pi * centre / 4)) ** 2
    np.testing.assert_allclose(measured / measured.sum(), theory / theory.sum(), atol=0.012)


def test_waveform_reaches_its_peak_and_no_more():
    random = np.random.default_rng(4)
    value = rds.waveform(random.integers(0, 2, 5000).astype(np.uint8), np.arange(8, 4980, 0.01), rds.biphase_table())
    assert 0.97 < np.abs(value).max() <= 1.0001
