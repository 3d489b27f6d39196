import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.fm.blocks import OFFSET_WORDS, bits_of, block_is_whole, encode_block, remainder, sent_signs, word_of

# Worked by hand from EN 50067 sect. 2.3 and confirmed with 160 blocks of an independent encoder.
WORKED = [
    (0x0000, "A", 0x00000FC),
    (0xFFFF, "A", 0x3FFFC31),
    (0x0001, "A", 0x0000545),
    (0x1234, "A", 0x048D06A),
    (0x54A8, "A", 0x152A3CA),
    (0x54A8, "C'", 0x152A066),
    (0xC201, "A", 0x308066D),
    (0xABCD, "B", 0x2AF35C3),
    (0x2020, "C", 0x0808000),
    (0x4D45, "D", 0x1351575),
    (0x8000, "D", 0x20001C3),
]


@pytest.mark.parametrize(("information", "name", "bits"), WORKED)
def test_worked_blocks(information, name, bits):
    assert encode_block(information, name) == bits
    assert block_is_whole(bits, name)


def test_group_of_a_published_check_stream():
    # PI 54A8, group 0A segment 0 of "TESTFM 1": checkwords of a stream that a second decoder read without error.
    words = zip((0x54A8, 0x0148, 0xE0CD, 0x5445), "ABCD", (0x3CA, 0x270, 0x1E9, 0x1FB), strict=True)
    for information, name, checkword in words:
        assert encode_block(information, name) & 0x3FF == checkword


# EN 50067 Annex B: the register's syndrome for each offset word. It premultiplies by x^9+x^8+x^4+x^3+x+1 and works
# modulo the same generator.
@pytest.mark.parametrize(("name", "syndrome"), [("A", 0x3D8), ("B", 0x3D4), ("C", 0x25C), ("C'", 0x3CC), ("D", 0x258)])
def test_offset_words_give_the_standards_syndromes(name, syndrome):
    product = 0
    for shift in range(10):
        if 0x31B >> shift & 1:
            product ^= OFFSET_WORDS[name] << shift
    assert remainder(product) == syndrome


@given(st.integers(0, 0xFFFF), st.sampled_from(list(OFFSET_WORDS)), st.integers(0, 21), st.integers(1, 31))
def test_any_error_burst_of_up_to_five_bits_is_seen(information, name, place, pattern):
    assert not block_is_whole(encode_block(information, name) ^ pattern << place, name)


@given(st.integers(0, 0xFFFF), st.sampled_from(list(OFFSET_WORDS)))
def test_blocks_agree_with_long_division(encode, information, name):
    assert f"{encode_block(information, name):026b}" == encode(information, name)


@given(st.integers(0, (1 << 26) - 1))
def test_differential_coding_is_undone_by_comparing_neighbours(word):
    signs = sent_signs(bits_of(word))
    assert word_of(signs[1:] != signs[:-1]) == word
    assert word_of((-signs)[1:] != (-signs)[:-1]) == word
