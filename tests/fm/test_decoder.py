import numpy as np
import pytest

from skyglint.fm.blocks import sent_signs
from skyglint.fm.decoder import ACCEPTED_BELOW, decode
from skyglint.fm.groups import read_groups, station_name
from skyglint.fm.subcarrier import SoftBits

STRONG = 6.0


def soft(text, size=STRONG):
    """Soft bits of data bits given as text, all equally sure; the first symbol is what they are coded against."""
    return [SoftBits(size * sent_signs(np.array([int(bit) for bit in text])).astype(float), 10.0)]


@pytest.fixture
def group(encode):
    def make(pi=0x54A8, b=0x0148, c=0xE0CD, d=0x5445, third="C"):
        return [encode(pi, "A"), encode(b, "B"), encode(c, third), encode(d, "D")]

    return make


def test_a_lone_block_is_only_a_hint(group):
    # 26 bits against 2^16 codes and more than 26 alignments: five bits in favour.
    reading = decode(soft(group()[0]))
    assert reading is None or reading.wrong_probability > ACCEPTED_BELOW


def test_a_lone_block_is_enough_for_a_listed_code(group):
    reading = decode(soft(group()[0]), candidates=[0x54A8, 0xD3A1, 0xC201])
    assert reading.code == 0x54A8
    assert reading.wrong_probability < ACCEPTED_BELOW


@pytest.mark.parametrize("order", ["ABC", "DAB", "CDA", "BCDA"])
def test_a_block_and_its_neighbours_are_enough(group, order):
    blocks = dict(zip("ABCD", group(), strict=True))
    reading = decode(soft("".join(blocks[name] for name in order)))
    assert reading.code == 0x54A8
    assert reading.wrong_probability < ACCEPTED_BELOW


def test_a_repeat_in_c_prime_is_enough(group):
    blocks = group(b=0x0948, c=0x54A8, third="C'")
    reading = decode(soft("".join(blocks[:3])))
    assert reading.code == 0x54A8
    assert reading.wrong_probability < ACCEPTED_BELOW


def test_the_two_ends_of_a_block_in_two_groups_make_one(group):
    text = "".join(group() * 2)[12:116]
    reading = decode(soft(text))
    assert reading.code == 0x54A8
    assert reading.wrong_probability < ACCEPTED_BELOW


def test_inverted_signal_reads_the_same(group):
    bits = soft("".join(group()))[0]
    upright, inverted = decode([bits]), decode([SoftBits(-bits.ratios, 10.0)])
    assert upright.code == inverted.code == 0x54A8
    assert upright.wrong_probability == pytest.approx(inverted.wrong_probability)


def test_wrong_block_is_not_corrected_into_another_code(group):
    # Three sure errors in the only block A: the neighbours prove RDS, but no code may be claimed.
    text = list("".join(group()))
    for place in (2, 9, 17):
        text[place] = "10"[int(text[place])]
    reading = decode(soft("".join(text)))
    assert reading.wrong_probability > ACCEPTED_BELOW


def test_declared_code_needs_less(group):
    random = np.random.default_rng(14)
    size = 1.8
    signs = sent_signs(np.array([int(bit) for bit in "".join(group() * 4)]))
    wrong = random.random(len(signs)) < 1 / (1 + np.exp(size))
    bits = [SoftBits(size * np.where(wrong, -signs, signs), 0.0)]
    reading = decode(bits, declared=0x54A8)
    assert reading.declared_wrong_probability < ACCEPTED_BELOW
    assert decode(bits, declared=0x54A9).declared_wrong_probability > 0.5


def test_stated_false_confirmation_holds_on_random_signs():
    # The strongest case for noise: bits that look sure. Markov's bound must hold over all alignments.
    random = np.random.default_rng(15)
    doubts = []
    for _ in range(150):
        ratios = random.choice([-1.0, 1.0], 120) * np.abs(random.normal(0, 1.2, 120))
        doubts.append(decode([SoftBits(ratios, 0.0)], declared=0x1234).declared_wrong_probability)
    for level in (0.1, 0.03):
        assert np.mean(np.array(doubts) <= level) <= level + 3 * np.sqrt(level / len(doubts))


def test_stated_false_confirmation_holds_on_another_station(encode):
    random = np.random.default_rng(16)
    size, declared = 1.6, 0xD3A1
    for _ in range(40):
        other = int(random.integers(1 << 16))
        text = "".join(
            encode(other, "A") + encode(0x0148 | segment, "B") + encode(0xE0CD, "C") + encode(0x2020, "D")
            for segment in range(2)
        )
        signs = sent_signs(np.array([int(bit) for bit in text]))
        wrong = random.random(len(signs)) < 1 / (1 + np.exp(size))
        reading = decode([SoftBits(size * np.where(wrong, -signs, signs), 0.0)], declared)
        assert other == declared or reading is None or reading.declared_wrong_probability > 1e-3


def test_too_little_to_say_anything():
    assert decode([]) is None
    assert decode([SoftBits(np.full(200, 0.05), 0.0)]) is None


def test_groups_and_name_of_a_published_check_stream(encode):
    # PI 54A8, PTY 10: a second decoder read the name "TESTFM 1" from these words.
    words = [(0x0148, 0x5445), (0x0149, 0x5354), (0x014A, 0x464D), (0x014B, 0x2031)]
    text = "".join(encode(0x54A8, "A") + encode(b, "B") + encode(0xE0CD, "C") + encode(d, "D") for b, d in words)
    reading = decode(soft("0110" + text + "101"))
    groups = [group for group in read_groups(reading.soft_bits, reading.alignment) if group.whole_blocks]
    assert [(group.a, group.b, group.c, group.d) for group in groups] == [(0x54A8, b, 0xE0CD, d) for b, d in words]
    assert station_name(groups) == "TESTFM 1"
    assert station_name(groups[:3]) == ""
    # A name that changes within the burst is no name.
    changed = [*groups, type(groups[0])(0x54A8, 0x0148, 0xE0CD, 0x4142)]
    assert station_name(changed) == ""
